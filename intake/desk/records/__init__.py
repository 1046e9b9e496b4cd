"""What people write down at the vats: receipts, counts, work done, findings, readings, moves, cuttings, cleaning, holds."""

from intake.desk.records.counts import Count, count, undo
from intake.desk.records.orders import Order, order
from intake.desk.records.receipts import placements_of, receive
from intake.desk.records.said import Recorded, batch_named
from intake.desk.records.seen import done, finding, hold, published_tasks, reading
from intake.desk.records.vats import OUT, clean, cut, cut_not_before, move

__all__ = [
    "OUT",
    "Count",
    "Order",
    "Recorded",
    "batch_named",
    "clean",
    "count",
    "cut",
    "cut_not_before",
    "done",
    "finding",
    "hold",
    "move",
    "order",
    "placements_of",
    "published_tasks",
    "reading",
    "receive",
    "undo",
]
