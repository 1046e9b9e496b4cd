"""The owner's season on the board: a file of prices and terms in, calculated beside the pages, the order plan out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

from starlette.responses import RedirectResponse, Response

from intake.app.documents.plans.season_paper import season_pdf, season_picture
from intake.app.queries.season.season_answer import SeasonAnswer, plan_season
from intake.app.queries.season.season_example import EXAMPLE
from intake.app.queries.season.season_question import season_from
from intake.board.background_jobs import Jobs
from intake.board.pages.typed import whole
from intake.board.rendering import handed_over
from intake.board.request import Asked
from intake.board.svg_pictures import inline
from intake.errors import BadInput, Finding, Refused

__all__ = ["ask_season", "season", "season_paper", "stop_season"]

_MOST_SECONDS: Final = 300
_SECONDS: Final = 30


@dataclass(frozen=True, slots=True)
class _Planned:
    """The answer, and the file it was made from, to change and ask again."""

    answer: SeasonAnswer
    text: str

    def as_dict(self) -> dict[str, Any]:
        """For a program."""
        return self.answer.as_dict()


def season(asked: Asked) -> Response:
    """Orders of a season: the last answer with its picture, the search that runs, and the form to ask."""
    job = _jobs(asked).last("season")
    planned: _Planned | None = job.answer if job and not job.running else None
    answer = planned.answer if planned else None
    return asked.show(
        "season.html",
        job=job,
        facts=answer.as_dict() if answer else None,
        answer=answer,
        picture=inline(season_picture(answer).svg()) if answer else "",
        text=planned.text if planned else "",
        example=EXAMPLE,
        seconds=_SECONDS,
        most=_MOST_SECONDS,
    )


def ask_season(asked: Asked) -> Response:
    """Work out the orders beside the pages; a fault of the file is reported at once."""
    upload = asked.files.get("list")
    data = upload.data if upload is not None and upload.data else asked.field("text").encode()
    name = upload.name if upload is not None and upload.data else "season.toml"
    if not data.strip():
        raise BadInput(Finding("season file", "", "a file, or its text", "Start from the example on the season page."))
    terms = season_from(data, name)
    seconds = whole(asked, "seconds", default=_SECONDS)
    if not 1 <= seconds <= _MOST_SECONDS:
        raise BadInput(Finding("seconds", str(seconds), f"1 to {_MOST_SECONDS}"))
    farm, person, worth = asked.farm, asked.person, asked.field("worth") == "yes"

    def look(tell: Callable[[str], bool]) -> _Planned:
        answer = plan_season(
            farm.house(person), terms, seconds=float(seconds), worth=worth,
            report=lambda value, bound, what: tell(f"{what}: margin {value:.0f}, at most {bound:.0f}"),
        )  # fmt: skip
        return _Planned(answer, data.decode("utf-8-sig"))

    if _jobs(asked).start("season", asked.house.now, person, look):
        return RedirectResponse("/season", 303)
    return asked.go("/season", "Something else is being calculated. Wait until it finishes.")


def stop_season(asked: Asked) -> Response:
    """End the search with the best plan found so far."""
    if _jobs(asked).stop("season"):
        return asked.go("/season", "Stopping. The best plan found so far is kept.")
    return asked.go("/season", "Nothing is being calculated.")


def season_paper(asked: Asked) -> Response:
    """The order plan last worked out, to print."""
    job = _jobs(asked).last("season")
    if job is None or job.answer is None:
        raise Refused(Finding("season", "no order plan", "an order plan", "Plan the season first."))
    data = season_pdf(asked.house, job.answer.answer, asked.query("paper"))
    return handed_over(f"season-{job.answer.answer.labels[0]}.pdf", data)


def _jobs(asked: Asked) -> Jobs:
    found: Jobs = asked.request.app.state.jobs
    return found
