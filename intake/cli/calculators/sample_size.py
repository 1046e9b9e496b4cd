"""``vatside sample``: how many animals to examine, usable without a farm."""

from __future__ import annotations

import click

__all__ = ["sample"]


def _share(where: str, text: str) -> float:
    """Read a fraction; a percentage only where it says so with a sign."""
    from intake.errors import BadInput, Finding

    typed = text.strip()
    try:
        return float(typed[:-1]) / 100 if typed.endswith("%") else float(typed)
    except ValueError:
        raise BadInput(Finding(where, text, "a fraction such as 0.05, or a percentage such as 5%")) from None


@click.command()
@click.option("--lot", type=int, required=True, help="Animals in the lot.")
@click.option("--prevalence", required=True, help="Share carrying the pest: a fraction 0 to 1, or written 5%.")
@click.option("--confidence", required=True, help="Confidence wanted: a fraction 0 to 1, or written 95%.")
@click.option("--sensitivity", default="1", show_default=True, help="Test sensitivity: share of carriers detected.")
@click.option("--examined", type=int, help="Also show what this many clean animals prove.")
@click.option("--json", "json_", is_flag=True, help="Print the answer as JSON.")
@click.pass_context
def sample(
    ctx: click.Context,
    lot: int,
    prevalence: str,
    confidence: str,
    sensitivity: str,
    examined: int | None,
    json_: bool,
) -> None:
    """Fewest animals to examine to find a pest in a lot; exit 1 if none suffices.

    Example: vatside sample --lot 500 --prevalence 0.02 --confidence 0.95
    """
    import textwrap

    from intake.quarantine.sampling import clean_sample_confidence, sample_size

    share, finds = _share("--prevalence", prevalence), _share("--sensitivity", sensitivity)
    found = sample_size(lot, share, _share("--confidence", confidence), finds)
    proved = None if examined is None else clean_sample_confidence(lot, examined, share, finds)
    if json_:
        from intake.cli.terminal import as_json

        answer = {
            "n": found.n,
            "achievable": found.achievable,
            "confidence_reached": found.confidence_reached,
            "diseased": found.diseased,
            "source": found.source,
        }
        as_json(answer if proved is None else {**answer, "clean_sample_confidence": proved})
    else:
        if found.achievable:
            click.echo(f"examine   {found.n} of {lot} animals")
        else:
            click.echo(f"examine   not achievable: even all {lot} animals fall short")
        click.echo(f"finds     {found.diseased} carriers or more with confidence {found.confidence_reached:.4f}")
        if proved is not None:
            click.echo(f"clean     {examined} clean animals give confidence {proved:.4f}")
        click.echo(textwrap.fill(found.source, 80, initial_indent="source    ", subsequent_indent=" " * 10))
    ctx.exit(0 if found.achievable else 1)
