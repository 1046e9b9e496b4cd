"""How animals go from bag water to vat water: the mode, the tubs with their air, and a lawful step table for each."""

from intake.receiving.acclimation.bag_water_modes import drip, exchange, overflow
from intake.receiving.acclimation.choice import as_asked, choose, toxic_ceiling_mg_per_l
from intake.receiving.acclimation.inside import Inside
from intake.receiving.acclimation.load import Load, Tub, TubSetup, litres_needed, load_of, most_in_tub
from intake.receiving.acclimation.midway import expected_step, expected_water
from intake.receiving.acclimation.remake import recompute
from intake.receiving.acclimation.step_table import Acclimation, Draw, Step, Table
from intake.receiving.acclimation.transfer_modes import damp_direct, float_plain, float_then_transfer
from intake.receiving.acclimation.waters import MODES, NH3_LIMIT_SOURCE, BagWater, Limits, Mode, VatWater

__all__ = [
    "MODES",
    "NH3_LIMIT_SOURCE",
    "Acclimation",
    "BagWater",
    "Draw",
    "Inside",
    "Limits",
    "Load",
    "Mode",
    "Step",
    "Table",
    "Tub",
    "TubSetup",
    "VatWater",
    "as_asked",
    "choose",
    "damp_direct",
    "drip",
    "exchange",
    "expected_step",
    "expected_water",
    "float_plain",
    "float_then_transfer",
    "litres_needed",
    "load_of",
    "most_in_tub",
    "overflow",
    "recompute",
    "toxic_ceiling_mg_per_l",
]
