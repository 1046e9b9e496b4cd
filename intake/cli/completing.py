"""Words a shell completes from the ledger: batches, vats, systems, shipments, open tasks and dips.

Nothing is written and nothing is said: a folder that is no farm, or books that cannot be read, complete nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem

    from intake.app.session import House

__all__ = ["completed", "offered"]

Words = Iterable[tuple[str, str]]
"""Words to offer, each with what it is."""


def completed(command: click.Command) -> click.Command:
    """Give a command's arguments and options, and those of its own commands, what completes them."""
    offered(command.params)
    if isinstance(command, click.Group):
        for inner in command.commands.values():
            completed(inner)
    return command


def offered(params: Iterable[click.Parameter]) -> None:
    """Give these arguments and options what completes them."""
    for param in params:
        offers = _OFFERS.get(str(param.name))
        if offers is not None and not isinstance(param.type, click.Choice):
            param._custom_shell_complete = _completer(offers)  # noqa: SLF001  # click takes it at construction only


def _completer(
    offers: Callable[[House], Words],
) -> Callable[[click.Context, click.Parameter, str], list[CompletionItem]]:
    def complete(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
        from click.shell_completion import CompletionItem

        del param
        farm = Path(str(ctx.find_root().params.get("farm") or "."))
        try:
            words = _asked(farm, offers)
        except Exception:  # noqa: BLE001  # whatever is wrong with the farm, a command reports it; a key press does not
            return []
        return [
            CompletionItem(word, help=told) for word, told in words if word.casefold().startswith(incomplete.casefold())
        ]

    return complete


def _asked(farm: Path, offers: Callable[[House], Words]) -> list[tuple[str, str]]:
    from intake.app.session import as_of_last_entry, open_house

    if not (farm / "farm.toml").is_file():
        return []
    if not (farm / "farm.db").is_file() and "store" not in (farm / "farm.toml").read_text(encoding="utf-8-sig"):
        return []  # opening it would make an empty one
    house = open_house(farm)
    try:
        return list(offers(as_of_last_entry(house)))[:_MOST]
    finally:
        house.books.close()


_MOST: Final = 500
"""Words offered at most; a shell shows no more."""


def _batches(house: House) -> Words:
    floor = house.floor()
    alive = dict.fromkeys(stay.batch for stay in floor.stays)
    waiting = (batch.id for batch in floor.batches.values() if batch.shipment and batch.shipment not in floor.received)
    return ((one, floor.batches[one].name) for one in dict.fromkeys((*alive, *waiting)))


def _vats(house: House) -> Words:
    return ((vat.id, vat.system) for vat in house.site.vats.values())


def _places(house: House) -> Words:
    return (*_vats(house), *((one.id, one.role) for one in house.site.systems.values()), *_batches(house))


def _targets(house: House) -> Words:
    return (*_vats(house), ("sold", ""), ("sample", ""), ("discarded", ""), ("dock", ""))


def _tasks(house: House) -> Words:
    from intake.app.queries.planning.published_timetable import shown_tasks

    rows = (row for row in shown_tasks(house).values() if row.get("state", "open") == "open" and row.get("short"))
    return ((str(row["short"]), str(row.get("title") or row.get("kind"))) for row in rows)


def _shipments(house: House) -> Words:
    from intake.app.queries.planning.announced_shipments import shipment_facts

    return ((one, str(facts["supplier"])) for one, facts in shipment_facts(house).items())


def _dips(house: House) -> Words:
    return ((one, dip.name) for one, dip in house.library.dips.items())


_OFFERS: Final[dict[str, Callable[[House], Words]]] = {
    **dict.fromkeys(("batch", "batches", "parent"), _batches),
    **dict.fromkeys(("vat", "vats"), _vats),
    "place": _places,
    "source": lambda house: (*_vats(house), ("dock", "")),
    "target": _targets,
    "task": _tasks,
    **dict.fromkeys(("shipment", "replaces"), _shipments),
    "dip": _dips,
    "system": lambda house: ((one.id, one.role) for one in house.site.systems.values()),
    "supplier": lambda house: ((one.id, one.name) for one in house.site.suppliers.values()),
    "who": lambda house: ((one.id, one.name) for one in house.site.people.values()),
}
"""Name of an argument or option → what completes it."""
