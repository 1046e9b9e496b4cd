"""The disk: the ledger in SQLite or PostgreSQL, appended to in one transaction per act, and their copies."""

from intake.store.asking.questions import Reach
from intake.store.books import Books
from intake.store.copying.backup import restore, verify
from intake.store.copying.rotation import expendable
from intake.store.ledger_transfer import transfer
from intake.store.trouble import DatabaseFault
from intake.store.unit import Unit, Writing
from intake.store.view import View

__all__ = ["Books", "DatabaseFault", "Reach", "Unit", "View", "Writing", "expendable", "restore", "transfer", "verify"]
