"""How animals go from bag water to vat water: the mode chosen from the numbers, and a lawful step table for each."""

from intake.receiving.acclimation.choice import choose, recompute, toxic_ceiling_mg_per_l
from intake.receiving.acclimation.midway import expected_step, expected_water
from intake.receiving.acclimation.tables import damp_direct, drip, exchange, float_plain, float_then_transfer, overflow
from intake.receiving.acclimation.waters import (
    MODES,
    NH3_LIMIT_SOURCE,
    Acclimation,
    BagWater,
    Limits,
    Mode,
    Step,
    Table,
    VatWater,
)

__all__ = [
    "MODES",
    "NH3_LIMIT_SOURCE",
    "Acclimation",
    "BagWater",
    "Limits",
    "Mode",
    "Step",
    "Table",
    "VatWater",
    "choose",
    "damp_direct",
    "drip",
    "exchange",
    "expected_step",
    "expected_water",
    "float_plain",
    "float_then_transfer",
    "overflow",
    "recompute",
    "toxic_ceiling_mg_per_l",
]
