"""The sampling list: animals drawn by lot from vats or boxes, on paper to tick at the vat."""

from __future__ import annotations

from pathlib import Path

from intake.app.board_links import count_address
from intake.app.documents.cautions import cautions_of
from intake.app.documents.cautions.printed_dangers import breach_lines, emergency_of, kills_of
from intake.app.documents.weekly.returned.form_origin import form_subject
from intake.app.output_files import save
from intake.app.queries.biosecurity.random_sample import draw_sample, places_of
from intake.app.session import House
from intake.errors import BadInput, Finding
from intake.language import Language, in_figures
from intake.quarantine.sampling import sample_size
from intake.units import show_length

__all__ = ["print_sample"]

_PREVALENCE, _CONFIDENCE = 0.05, 0.95
"""What a sample of unstated size is drawn to find: 5 % at 95 %, the middle one of the conventional aquatic sizes (de Blas
et al. 2020, Front. Vet. Sci. 7:253)."""


def print_sample(
    house: House, out: Path, batch: str, paper: str, *, n: int = 0, seed: str = "", fillable: bool = False
) -> list[Path]:
    """Print which animals of a batch to examine, with a box to tick for each.

    Parameters
    ----------
    n
        Animals to examine; 0: the fewest that find a pest carried by 5 % with 95 % confidence.
    seed
        Words that fix the draw; the batch and the day when empty.
    fillable
        With form fields.

    Raises
    ------
    UnknownName
        No such batch.
    BadInput
        No batch named, or none of it is here.
    """
    import forms as page

    if not batch:
        raise BadInput(Finding("print sample", "no batch", "--batch BATCH", "Name the batch to sample."))
    lot = sum(count for _, count in places_of(house, batch))
    drawn = draw_sample(house, batch, n or (sample_size(lot, _PREVALENCE, _CONFIDENCE).n if lot else 1), seed=seed)
    known = house.floor().batches[batch]
    supplier, language = house.site.suppliers.get(known.supplier), house.language
    own = language.say("house cuttings")
    told = (show_length(known.size_mm, house.site.farm.units), supplier.name if supplier else own)
    content = page.SamplingContent(
        farm=house.site.farm.name,
        batch=batch,
        name=known.name,
        date=language.day(house.today, "%a %d %b %Y"),
        examined=drawn["n"],
        lot=drawn["lot"],
        places=tuple(
            page.SamplePlace(_place(language, one["place"]), one["standing"], tuple(one["numbers"]), one["place"])
            for one in drawn["take"]
        ),
        detail=" · ".join(told),
        address=count_address(house, batch),
        draw_words=drawn["seed"],
        proves=_proves(language, drawn["clean_proves"], drawn["n"]),
        cautions=(*cautions_of(house, [known]), *breach_lines(house, [known])),
        kills=kills_of(house, [known]),
        emergency=emergency_of(house),
        language=language,
    )
    told_here = in_figures(house.site.farm.measures.content(content), language)
    data = page.sampling_list(told_here, paper, fillable=fillable, subject=form_subject("sample", house.now, batch))
    return [save(out / f"sample-{batch}-{house.today}.pdf", data)]


def _place(language: Language, place: str) -> str:
    """Where the animals stand, as a heading: the vat, the box, or the dock."""
    kind, _, name = place.partition(" ")
    if kind == "vat":
        return language.say("Vat {vat}", vat=name)
    return language.say("Box {box}", box=name) if kind == "box" else language.say("Dock")


def _proves(language: Language, proof: dict[str, object], n: int) -> tuple[str, ...]:
    rows = proof["by_prevalence"]
    assert isinstance(rows, list)  # noqa: S101  # as draw_sample makes it
    carried = "; ".join(f"{100 * row['prevalence']:g} %: {100 * row['confidence']:.1f} %" for row in rows)
    sure, most = f"{100 * float(str(proof['confidence'])):g} %", proof["at_most_carriers"]
    return (
        language.say(
            "All {n} clean: with {sure} confidence at most {most} of the lot carry it, "
            "if no carrier looked at is overlooked.",
            n=n,
            sure=sure,
            most=most,
        ),
        language.say("Confidence that fewer carry it than: {shares}.", shares=carried),
        language.say("If one is found, record it at once. The lot is not released; sampling can stop."),
    )
