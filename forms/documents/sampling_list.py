"""The sampling list: which animals were drawn by lot, a box to tick for each, and what a clean sample proves."""

from __future__ import annotations

from dataclasses import dataclass

from forms.documents.danger_strip import KillStrip
from forms.documents.shared_content import LOCAL_RULES, Danger, joined
from forms.layout.blocks import Caution, Heading, Masthead, Text
from forms.layout.page import Block, Part, bind, flow, paper_of
from forms.layout.speech import ENGLISH, Speech
from forms.layout.table_grid import Cell, Column, Grid, tick, write

__all__ = ["SamplePlace", "SamplingContent", "sampling_list"]

_ACROSS = 2


@dataclass(frozen=True, slots=True)
class SamplePlace:
    """One vat or box: how many are there, and the numbers of those to take, counted through as they stand.

    ``key`` names its fields in every language; the place's own words where it is empty.
    """

    place: str
    standing: int
    numbers: tuple[int, ...]
    key: str = ""


@dataclass(frozen=True, slots=True)
class SamplingContent:
    """What the list says.

    Attributes
    ----------
    batch, name, detail
        Batch code, species, and a line below such as size and supplier.
    address
        What the QR code says.
    examined, lot
        Animals to examine, of how many.
    places
        Where they stand.
    draw_words
        Words that fix the draw, so that anybody can draw the same animals again.
    proves
        What the sample proves when all are clean, a sentence each.
    kills, emergency
        What can kill in these vats, and the farm's emergency number.
    cautions
        Warnings.
    """

    farm: str
    batch: str
    name: str
    date: str
    examined: int
    lot: int
    places: tuple[SamplePlace, ...]
    detail: str = ""
    address: str = ""
    draw_words: str = ""
    proves: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    kills: tuple[Danger, ...] = ()
    emergency: str = ""
    language: Speech = ENGLISH


def sampling_list(content: SamplingContent, paper: str = "a4", *, fillable: bool = False, subject: str = "") -> bytes:
    """Sampling list as PDF.

    Parameters
    ----------
    content
        What it says.
    paper
        ``"a4"`` or ``"letter"``.
    fillable
        True adds form fields to ticks and findings.
    subject
        What a program that reads the form back has to know.

    Returns
    -------
    bytes
        A PDF; equal content gives equal bytes.

    Raises
    ------
    PaperError
        For an unknown paper.
    """
    size, say = paper_of(paper), content.language.say
    name = say("Animals to examine")
    title = joined((name, content.date))
    blocks: list[Block] = [
        Masthead(title, content.batch, content.name, content.detail, content.farm, content.address),
        KillStrip(content.kills, content.emergency),
        Caution((*content.cautions, say(LOCAL_RULES)), 8.5, say("CAUTION")),
        _facts(content),
        Text(
            say(
                "Count the animals through as they stand, from the inlet, row by row; take those with these numbers, "
                "nothing in their place. One animal gone: write so, and take none for it."
            ),
            9.5,
            after=4,
        ),
    ]
    for place in content.places:
        blocks += _place(place, content.language)
    blocks += [
        Heading(say("What a clean result shows"), before=5, ruled=True),
        *(Text(line, 9.5, after=2) for line in content.proves),
    ]
    blocks.append(_signed(content.language))
    part = Part(name, joined((content.batch, content.name)), tuple(blocks))
    pages = [(part, flow(blocks, size))]
    return bind(pages, size, name, author=content.farm, fillable=fillable, language=content.language, subject=subject)


def _facts(content: SamplingContent) -> Grid:
    say = content.language.say
    cells = (
        Cell(str(content.examined), label=say("Examine"), bold=True, size=20),
        Cell(str(content.lot), label=say("of"), bold=True, size=20),
        Cell(content.draw_words, label=say("Draw seed"), bold=True),
        write("found", say("Found in how many")),
    )
    return Grid(
        (Column(share=0.8), Column(share=0.8), Column(share=2.4), Column(share=1.6)), (cells,), size=11, row_mm=12
    )


def _place(place: SamplePlace, language: Speech) -> list[Block]:
    say = language.say
    columns = (
        Column(say("No."), 0.5, "right", heavy=True),
        Column(say("Looked"), 0.6, "centre"),
        Column(say("Clean"), 0.6, "centre"),
        Column(say("Found: what, how many"), 2.2),
    ) * _ACROSS
    depth = -(-len(place.numbers) // _ACROSS)
    rows = tuple(
        tuple(cell for block in range(_ACROSS) for cell in _animal(place, block * depth + line, language))
        for line in range(depth)
    )
    heading = say(
        "{place}: {number} of {standing}", place=place.place, number=len(place.numbers), standing=place.standing
    )
    return [Heading(heading, 13), Grid(columns, rows, size=9, row_mm=11, tick_mm=10, narrow=True)]


def _animal(place: SamplePlace, index: int, language: Speech) -> tuple[Cell, ...]:
    if index >= len(place.numbers):
        return (Cell(shade=0.08),) * 4
    number = place.numbers[index]
    name, said, say = f"{place.key or place.place}.{number}", f"{place.place}, {number}", language.say
    return (
        Cell(str(number), bold=True, size=15),
        tick(f"{name}.looked", told=f"{said}: {say('Looked')}"),
        tick(f"{name}.clean", told=f"{said}: {say('Clean')}"),
        write(f"{name}.found", told=f"{said}: {say('Found: what, how many')}"),
    )


def _signed(language: Speech) -> Grid:
    say = language.say
    cells = (write("method", say("How examined (loupe, scrape, laboratory)")), write("by", say("By, date, time")))
    return Grid((Column(share=1.6), Column(share=1.2)), (cells,), size=9.5, row_mm=12)
