"""Options of the plan that a person's hand sets, and what is shown of them: pins, proof files, and how sure a plan is."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from intake.cli.terminal import progress, say, table

if TYPE_CHECKING:
    from intake.app.commands.plan_vats import Proposal
    from intake.app.session import House
    from intake.plan.model.pins import Pins
    from intake.season.stress import Outcome, Stress

__all__ = ["export_to", "hand_options", "pins_of", "show_stress", "stress_dict", "stressed"]


def hand_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """The options of pins, worth, proof files and futures, given to the command as they are."""
    for option in (
        click.option("--pin", multiple=True, help="BATCH=VAT,VAT: only in these vats. Repeatable; kept with the plan."),
        click.option("--keep-out", "keep_out", multiple=True, help="BATCH=VAT,VAT: not in these vats. Repeatable."),
        click.option("--keep-free", "keep_free", multiple=True, help="VAT: no newcomer gets it. Repeatable."),
        click.option("--ceiling", multiple=True, help="SYSTEM=PERCENT: fill its vats to that at most. Repeatable."),
        click.option("--unpin", is_flag=True, help="Forget the pins kept with the accepted plan."),
        click.option("--heads", is_flag=True, help="Count every animal equally, even where prices are known."),
        click.option("--export", type=click.Path(file_okay=False), default=None, help="Folder for model, plan and proof."),
        click.option("--stress", is_flag=True, help="Test the plan in many simulated futures; compare safety margins."),
        click.option("--futures", default=1000, show_default=True, help="Futures simulated with --stress."),
    ):  # fmt: skip
        command = option(command)
    return command


def pins_of(hand: dict[str, Any]) -> Pins | None:
    """What was pinned on the command line; ``None`` where nothing was, so that what is kept counts."""
    from intake.errors import BadInput, Finding
    from intake.plan.model.pins import Pins

    faults = []

    def pairs(texts: tuple[str, ...], option: str, example: str) -> dict[str, str]:
        for text in texts:
            if not all(text.partition("=")[::2]):
                faults.append(Finding(option, text, example))
        return {text.partition("=")[0]: text.partition("=")[2] for text in texts}

    vats = "BATCH=VAT,VAT, for example S1-03=Q1,Q2"
    told = {name: pairs(hand[name], f"--{name.replace('_', '-')}", vats) for name in ("pin", "keep_out")}
    shares = pairs(hand["ceiling"], "--ceiling", "SYSTEM=PERCENT, for example growout=80")
    faults += [
        Finding("--ceiling", f"{name}={share}", "a whole percentage")
        for name, share in shares.items()
        if share and not share.isdecimal()
    ]
    if faults:
        raise BadInput(faults)
    split = {name: {batch: tuple(some.split(",")) for batch, some in rows.items()} for name, rows in told.items()}
    pins = Pins(split["pin"], split["keep_out"], tuple(hand["keep_free"]), {name: int(n) for name, n in shares.items()})
    return pins if pins or hand["unpin"] else None


def export_to(proposal: Proposal, folder: str | None) -> list[str]:
    """Write the model, the plan, the relaxation and how the bound was proved, if a folder was named."""
    if not folder:
        return []
    from intake.app.output_files import save
    from intake.plan.answers.proof_files import proof_files

    files = proof_files(proposal.problem, proposal.solution)
    return [f"Saved {save(Path(folder) / name, text.encode())}" for name, text in files.items()]


def stressed(
    house: House, proposal: Proposal, hand: dict[str, Any], stop: Callable[[], bool], *, quiet: bool
) -> tuple[Stress, tuple[str, ...]] | None:
    """The plan carried into so many futures, if that was asked for, and where their rates come from."""
    from intake.app.queries.season.recorded_chances import recorded_chances
    from intake.errors import BadInput, Finding
    from intake.season.stress import stress

    futures = int(hand["futures"])
    if not hand["stress"] or stop():
        return None
    if not 10 <= futures <= 100_000:
        raise BadInput(Finding("--futures", str(futures), "10 to 100000"))

    def told(what: str) -> bool:
        if not quiet:
            progress(f"futures: {what}")
        return stop()

    seed = proposal.solution.seed
    rates = recorded_chances(house, proposal.problem)
    return stress(
        proposal.problem, proposal.solution, rates.chances, futures=futures, seed=seed, report=told
    ), rates.told


def stress_dict(stressed: tuple[Stress, tuple[str, ...]] | None) -> dict[str, object]:
    """What the futures came to, as plain data under ``stress``; nothing if there are none."""
    if stressed is None:
        return {}
    found, rates = stressed
    told = {
        "plan": _outcome(found.plan),
        "causes": [{"cause": cause, "without_p95": count} for cause, count in found.causes],
        "insurances": [
            {"name": one.name, "cost": round(one.cost, 4), **_outcome(one.outcome)} for one in found.insurances
        ],
        "halves": found.halves,
        "rates": list(rates),
    }
    return {"stress": told}


def _outcome(one: Outcome) -> dict[str, object]:
    return {
        "futures": one.futures,
        "fits": round(one.fits, 4),
        "fits_95": [round(one.fits_low, 4), round(one.fits_high, 4)],
        "without_p95": one.without_p95,
        "without_95": [one.without_low, one.without_high],
        "placed_mean": round(one.placed, 1),
        "breaks": [{"vat": vat, "share": round(share, 4)} for vat, share in one.breaks[:5]],
    }


def show_stress(stressed: tuple[Stress, tuple[str, ...]] | None) -> None:
    """In words: how many futures fit, what one in twenty leaves without a place, causes, and what being careful buys."""
    if stressed is None:
        return
    found, rates = stressed
    plan = found.plan
    share = f"{100 * plan.fits:.0f} of 100 futures ({100 * plan.fits_low:.0f} to {100 * plan.fits_high:.0f})"
    least = f"1 in 20 leaves {plan.without_p95} or more without a place ({plan.without_low} to {plan.without_high})"
    say(["", f"All fit in {share}; {least}."])
    if plan.breaks:
        vat, often = plan.breaks[0]
        say([f"Vat {vat} breaks first in {100 * often:.0f} of 100 futures."])
    say(["", *table(("only this cause", "1 in 20 leaves"), [(cause, count) for cause, count in found.causes])])
    rows = [
        (one.name, f"{100 * one.outcome.fits:.0f} %", one.outcome.without_p95, f"{100 * one.cost:+.1f} %")
        for one in found.insurances
    ]
    say(["", *table(("being careful", "all fit", "1 in 20 leaves", "costs"), rows)])
    say(["Costs are animals with a place, against the plan's mean."])
    say(["", f"Halves what one future in twenty leaves, at 1 % or less: {found.halves or 'none of them'}."])
    say(["", "Rates:", *(f"  {one}." for one in rates)])
