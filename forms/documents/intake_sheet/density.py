"""How tightly an intake sheet is set, from roomy to the last resort."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["DENSITIES", "Density"]


@dataclass(frozen=True, slots=True)
class Density:
    """How tightly a sheet is set; the rows of the loss grid grow afterwards into what room is left."""

    scale: float = 1.0
    tick_mm: float = 10.0
    write_mm: float = 11.0
    loss_mm: float = 6.0
    bags: int = 3
    steps: int = 10_000
    work: int = 10_000
    losses: int = 10_000


DENSITIES = (Density(), Density(0.95, 10.0, 10.0), Density(0.9, 10.0, 9.5, bags=2), Density(0.86, 10.0, 9.0, bags=2))
