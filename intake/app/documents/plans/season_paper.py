"""A season and a capacity curve as picture and paper: gathered from the answers, drawn by ``forms``."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from intake.app.output_files import save
from intake.app.session import House
from intake.errors import BadInput, Finding

if TYPE_CHECKING:
    from forms import CapacityPaper, SeasonContent, SeasonPaper
    from forms.charts.drawing import Drawing
    from intake.app.queries.season.season_answer import SeasonAnswer

__all__ = [
    "capacity_pdf",
    "draw_season",
    "print_capacity",
    "print_season",
    "season_content",
    "season_pdf",
    "season_picture",
]

_PAPERS = ("a4", "letter", "a3")


def season_content(answer: SeasonAnswer) -> SeasonContent:
    """The picture's facts: suppliers, waters, grow-out and sales over the weeks."""
    import forms as page

    question, band = answer.question, answer.grow_out
    suppliers = tuple(
        page.SeasonRow(
            one.id,
            tuple(
                page.SeasonLanding(row["week"], row["animals"], _landing_words(row))
                for row in answer.rows
                if row["supplier"] == one.id
            ),
        )
        for one in question.shippers
    )
    waters = tuple(
        page.SeasonRow(
            name,
            weeks=tuple(
                page.SeasonWeek(one.state, None if one.share is None else 100 * one.share) for one in row
            ),
        )
        for name, row in answer.waters.items()
    )  # fmt: skip
    grown = page.SeasonGrowOut(question.grow_out_m2, band.planned, band.low, band.high)
    labels = tuple(f"{date.fromisoformat(one):%d %b}" for one in answer.labels)
    subtitle = f"{answer.headline()} ({answer.proof()})."
    return page.SeasonContent(
        "Order plan of the season", subtitle, labels, question.weeks, suppliers, waters,
        100 * (1 - question.headroom_quarantine), grown, answer.sales(),
    )  # fmt: skip


def season_picture(answer: SeasonAnswer) -> Drawing:
    """The season as a drawing."""
    from forms import season_drawing

    return season_drawing(season_content(answer))


def draw_season(answer: SeasonAnswer, file: Path) -> Path:
    """Write the season's picture.

    Raises
    ------
    BadInput
        The file's name ends in neither ``.svg`` nor ``.png``.
    """
    from intake.app.documents.plans.plan_picture import check_name

    drawing = season_picture(answer)
    return save(file, drawing.svg().encode() if check_name(file) == ".svg" else drawing.png())


def _landing_words(row: Mapping[str, Any]) -> str:
    return f"{row['week_of']}, {row['supplier']}: {_animals(row)}, in {', '.join(row['waters']) or 'no water'}"


def _animals(row: Mapping[str, Any]) -> str:
    return ", ".join(f"{one['animals']} {one['kind']}" for one in row["lines"])


def _boxes(row: Mapping[str, Any]) -> str:
    return ", ".join(
        f"{one['boxes']} {'box' if one['boxes'] == 1 else 'boxes'}, {one['animals']} {one['kind']}"
        for one in row["lines"]
    )


def season_pdf(house: House, answer: SeasonAnswer, paper: str = "") -> bytes:
    """The order plan on paper.

    Raises
    ------
    BadInput
        A paper that is not known, or a name that cannot be printed.
    """
    import forms as page

    return _printed(house, lambda: page.season(_season_paper(house, answer), _paper(house, paper)), "season")


def _season_paper(house: House, answer: SeasonAnswer) -> SeasonPaper:
    import forms as page

    orders = tuple(
        page.SeasonOrder(
            row["week_of"], row["supplier"], _boxes(row), ", ".join(row["waters"]), row["free_week_of"],
            f"{row['cost']:.0f}",
        )
        for row in answer.rows
    )  # fmt: skip
    worth = tuple(
        f"{one.what}: {one.value:.0f} ({one.low:.0f} to {one.high:.0f} by the bounds)" for one in answer.worth
    )
    return page.SeasonPaper(
        house.site.farm.name,
        f"{answer.labels[0]} to {answer.labels[-1]}",
        answer.headline(),
        answer.proof(),
        season_content(answer),
        orders,
        tuple(f"{count:.0f} of {kind}" for kind, count in answer.lost().items()),
        worth,
        answer.assumed,
    )


def print_season(house: House, answer: SeasonAnswer, out: Path, paper: str = "") -> Path:
    """Write the order plan as PDF into a folder."""
    return save(out / f"season-{answer.labels[0]}.pdf", season_pdf(house, answer, paper))


def capacity_pdf(house: House, rows: Sequence[Mapping[str, Any]], mix: str, paper: str = "") -> bytes:
    """The capacity curve on paper, rows as ``capacity`` gives them.

    Raises
    ------
    BadInput
        As :func:`season_pdf`.
    """
    import forms as page

    days = tuple(page.DayRoom(row["day"], row["fits"], row["announced"], bool(row["proved"])) for row in rows)
    content: CapacityPaper = page.CapacityPaper(house.site.farm.name, mix, days)
    return _printed(house, lambda: page.capacity(content, _paper(house, paper)), "capacity")


def print_capacity(house: House, rows: Sequence[Mapping[str, Any]], mix: str, out: Path, paper: str = "") -> Path:
    """Write the capacity curve as PDF into a folder."""
    return save(out / f"capacity-{rows[0]['day']}.pdf", capacity_pdf(house, rows, mix, paper))


def _paper(house: House, paper: str) -> str:
    found = paper or house.site.farm.paper
    if found not in _PAPERS:
        raise BadInput(Finding("--paper", found, f"one of {', '.join(_PAPERS)}"))
    return found


def _printed(house: House, make: Any, what: str) -> bytes:
    from forms import PaperError, printed_at

    try:
        with printed_at(house.now.astimezone(house.site.farm.zone)):
            data: bytes = make()
    except PaperError as error:
        do = "Write these names in Latin, Greek or Cyrillic letters, or shorten them, then print again."
        raise BadInput(Finding(f"print {what}", str(error), "text that can be put on paper", do)) from error
    return data
