"""Packing lists: read as they came, understood line by line, turned into a shipment and its batches."""

from __future__ import annotations

from intake.packing.asking import Question, is_lasting
from intake.packing.columns import Column, ColumnMap
from intake.packing.grid import Cell, Grid, Sheet
from intake.packing.line import Line
from intake.packing.read import read
from intake.packing.shipment import understand
from intake.packing.understanding import Totals, Understanding

__all__ = [
    "Cell",
    "Column",
    "ColumnMap",
    "Grid",
    "Line",
    "Question",
    "Sheet",
    "Totals",
    "Understanding",
    "is_lasting",
    "read",
    "understand",
]
