"""``python -m tests.story.year``: run the year and report breaches, figures and seconds an act by month."""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

from tests.story.year.simulator import Year, run_year


def report(year: Year) -> list[str]:
    """The run in lines."""
    lines = [f"{name}: {number:,}" for name, number in sorted(year.figures.items())]
    lines += ["", "seconds an act (mean, longest) and acts, by month:"]
    for month, taken in sorted(year.seconds.items()):
        lines.append(f"  {month}  {sum(taken) / len(taken):.3f}  {max(taken):.2f}  {len(taken):,}")
    lines += ["", f"refused: {len(year.refused)}", *(f"  {words}" for words in year.refused[:20])]
    lines += ["", f"breaches: {len(year.breaches)}", *(f"  {words}" for words in year.breaches[:40])]
    return lines


def _so_far(year: Year, days: int) -> None:
    """Lines for whoever waits, with the last of what went wrong."""
    told = (
        f"day {days}: {year.figures['received']} received, {len(year.breaches)} breaches, {len(year.refused)} refused"
    )
    lines = [told, *(f"  {words}" for words in (*year.breaches[-2:], *year.refused[-3:]))]
    print("\n".join(lines), flush=True)  # as below


def main() -> int:
    """Run it; exit 1 with a breach."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--days", type=int, default=365)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--folder", type=Path, default=None, help="where the farm is kept (default: a passing folder)")
    given = ask.parse_args()
    with tempfile.TemporaryDirectory() as passing:
        year = run_year(given.folder or Path(passing) / "farm", days=given.days, seed=given.seed, watch=_so_far)
        print("\n".join(report(year)))  # a report on the terminal
    return 1 if year.breaches else 0


if __name__ == "__main__":
    raise SystemExit(main())
