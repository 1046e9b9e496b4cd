"""An example of a season file, to start one's own from; every figure is invented."""

from __future__ import annotations

from typing import Final

__all__ = ["EXAMPLE", "HOW_TO_START"]

HOW_TO_START: Final = "Start from the example: vatside season --example > season.toml."
"""What to do without a season file."""

EXAMPLE: Final = """\
# A season: what can be sold, at what price, and each supplier's terms.
# Every figure is invented. Replace it with your own. Money has no unit.
weeks = 20                      # weeks in which a shipment may land
selling_weeks = 6               # further weeks in which it may be sold
budget_per_quarter = 3000       # leave out: no limit
headroom_percent = 10           # of quarantine, kept free

[kind.maxima]
group = "clam_small"            # a husbandry group of the library
size_mm = 35                    # on arrival
price = 16                      # of one animal
sales_per_week = 8              # one figure, or one for each week
growth_mm_per_week = 0.4
weekly_loss_percent = 0.5
clearance = 3                   # what one brings that is cleared at release

[supplier.reef]
every_weeks = 4                 # ships every four weeks
from_week = 1                   # week 0 is this week
freight = 180                   # of a shipment
least = 40                      # animals in a shipment

[supplier.reef.kind.maxima]
cost = 5                        # of one animal
box = 20                        # animals in a box
dead_on_arrival_percent = 3
first_week_percent = 4
"""
