"""How often the intervals of suppliers hold the truth, by simulation: the method in use beside version 1's.

``python -m tests.bench.coverage --runs 150 --seed 1`` prints coverage at a nominal 95 % and the mean width; all suppliers,
shipments, lines and boxes are simulated.  A box differs from its line, a line from its shipment, a shipment from its supplier.
"""

from __future__ import annotations

import argparse
from typing import Any

import numpy as np

from intake.report.comparing.clustered import shrink_clustered
from intake.report.comparing.suppliers import design_effect
from intake.report.intervals import shrink_together

__all__ = ["coverage", "shipments_of"]

_LINES, _BOXES, _IN_BOX = 5, 3, 12


def shipments_of(rng: Any, share: float, shipments: int, weight: float) -> list[tuple[float, float]]:
    """(lost, of) of each shipment; each level is beta-distributed about the one above it."""
    found = []
    for _ in range(shipments):
        own = rng.beta(share * weight, (1 - share) * weight)
        lines = rng.beta(max(own * 60, 1e-3), max((1 - own) * 60, 1e-3), _LINES)
        boxes = rng.beta(
            np.maximum(lines * 40, 1e-3)[:, None], np.maximum((1 - lines) * 40, 1e-3)[:, None], (_LINES, _BOXES)
        )
        found.append((float(rng.binomial(_IN_BOX, boxes).sum()), float(_LINES * _BOXES * _IN_BOX)))
    return found


def coverage(suppliers: int, shipments: int, weight: float, runs: int, seed: int) -> dict[str, float]:
    """Share of suppliers whose true rate lay inside, and the mean width, by both methods."""
    rng = np.random.default_rng([seed, suppliers, shipments, int(weight)])
    held = old_held = tried = 0
    wide = old_wide = 0.0
    for _ in range(runs):
        truth = rng.beta(2.4, 37.6, suppliers)
        sent = [shipments_of(rng, share, shipments, weight) for share in truth]
        now = shrink_clustered(sent).shares
        effect = design_effect(sent) or 1.0
        sums = [(sum(lost for lost, _ in one) / effect, sum(of for _, of in one) / effect) for one in sent]
        before = shrink_together(sums)[1] if suppliers > 1 else [None] * suppliers
        for share, new, old in zip(truth, now, before, strict=True):
            held += new.low <= share <= new.high
            wide += new.high - new.low
            tried += 1
            if old is not None:
                old_held += old.low <= share <= old.high
                old_wide += old.high - old.low
    return {
        "held": held / tried,
        "width": wide / tried,
        "held_before": old_held / tried,
        "width_before": old_wide / tried,
    }


def main() -> None:
    """Print every cell."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--runs", type=int, default=150)
    asked.add_argument("--seed", type=int, default=1)
    told = asked.parse_args()
    print(f"runs {told.runs}, seed {told.seed}; version 1 > method in use, nominal 95 %")
    for suppliers in (1, 3, 8):
        for shipments in (2, 4, 8):
            for weight in (15.0, 60.0):
                one = coverage(suppliers, shipments, weight, told.runs, told.seed)
                before = f"{100 * one['held_before']:.0f} %" if suppliers > 1 else "none"
                print(
                    f"{suppliers} suppliers, {shipments} shipments each, weight {weight:g}: "
                    f"{before} > {100 * one['held']:.1f} %, "
                    f"width {100 * one['width_before']:.1f} > {100 * one['width']:.1f} points",
                    flush=True,
                )


if __name__ == "__main__":
    main()
