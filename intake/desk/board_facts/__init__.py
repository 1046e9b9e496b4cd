"""What the board's pages show, read from the books and the farm file; nothing here writes."""

from intake.desk.board_facts.batch import BatchFacts, HistoryLine, batch_facts
from intake.desk.board_facts.deliveries import DeliveryFacts, LineFacts, delivery_facts
from intake.desk.board_facts.floor import (
    DockFact,
    FloorFacts,
    ReleaseFact,
    StayFact,
    SystemFact,
    VatFact,
    floor_facts,
    releases,
)
from intake.desk.board_facts.snapshot import snapshot
from intake.desk.board_facts.space import Bar, SpaceFacts, space_facts
from intake.desk.board_facts.work import DayOfWork, Due, due_counts, due_work

__all__ = [
    "Bar",
    "BatchFacts",
    "DayOfWork",
    "DeliveryFacts",
    "DockFact",
    "Due",
    "FloorFacts",
    "HistoryLine",
    "LineFacts",
    "ReleaseFact",
    "SpaceFacts",
    "StayFact",
    "SystemFact",
    "VatFact",
    "batch_facts",
    "delivery_facts",
    "due_counts",
    "due_work",
    "floor_facts",
    "releases",
    "snapshot",
    "space_facts",
]
