"""Vatside: packing list → vat plan → timetable → record → report, for a marine-livestock farm.

The rooms follow that path (packing, plan, receiving, quarantine, timetable, ledger, report) and a room imports only
rooms before it.  Below them stands what is always true (errors, units, water, library, farm); above them what touches
the world (store, feed, app) and the faces (cli, board).  This file imports nothing, so that ``vatside --help`` is quick.
"""

__version__ = "0.1.0"
