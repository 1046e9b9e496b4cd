"""Rules on what is written down: readings and counts that can hardly be true, findings where no one stood, cuts, orders."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

from intake.farm.floor import Reading
from intake.farm.shown_units import reading_words
from intake.rules.acts import (
    Amending,
    Cleaning,
    Closing,
    Counting,
    Cutting,
    Leaving,
    Measuring,
    Noticing,
    Rebooking,
    Undoing,
)
from intake.rules.limits import QUANTITIES, Limits, limits_of, other_unit
from intake.rules.scene import Scene
from intake.rules.values import Broken, Rule, rule

__all__ = ["RULES"]

RULES: list[Rule] = []

_HABIT = "design default"

_AFRESH_H = 24
"""Hours for which the last reading of a place still says what the next can be."""


@rule("reading-unit", "A reading is in the unit it is booked in", "refuse", _HABIT, Measuring, book=RULES)
def reading_unit(scene: Scene, act: Measuring) -> Iterator[Broken]:
    """78.4 in a vat of 26 °C is °F."""
    expected = limits_of(scene, act.place, act.quantity)
    meant = other_unit(act.quantity, act.value, expected)
    if meant:
        unit, value = meant
        what = f"{act.value:g} looks like {unit}: {value}."
        need = f"{QUANTITIES[act.quantity].unit}"
        yield Broken(what, _plain(act.place), need, f"{act.value:g} {unit}", f"Record it as {value}.")


@rule(
    "reading-far", "A reading far from what the place is set to is read again", "reason", _HABIT, Measuring, book=RULES
)
def reading_far(scene: Scene, act: Measuring) -> Iterator[Broken]:
    """Farther from the farm file's setting than water goes without an accident, or than an instrument slips."""
    expected, kind = limits_of(scene, act.place, act.quantity), QUANTITIES.get(act.quantity)
    if expected is None or kind is None or other_unit(act.quantity, act.value, expected):
        return
    if expected.setting is not None and abs(act.value - expected.setting) > kind.far:
        need = _value(expected.setting, f"± {kind.far:g} {kind.unit}")
        have = _value(act.value, kind.unit)
        what = f"{have} at {_plain(act.place)}: sure?"
        yield Broken(what, _plain(act.place), need, have, "Measure again; if it is so, say --despite.")


@rule("reading-jump", "A reading far from the last one is read again", "reason", _HABIT, Measuring, book=RULES)
def reading_jump(scene: Scene, act: Measuring) -> Iterator[Broken]:
    """Against the last reading of the same place within a day."""
    kind, last = QUANTITIES.get(act.quantity), _last(scene, act)
    expected = limits_of(scene, act.place, act.quantity)
    if kind is None or last is None or other_unit(act.quantity, act.value, expected):
        return
    if abs(act.value - last.value) > kind.jump:
        at = last.at.astimezone(scene.site.farm.zone)
        have = _value(act.value, kind.unit)
        what = f"{have} at {_plain(act.place)}; {_value(last.value, kind.unit)} at {at:%H:%M}: sure?"
        need = _value(last.value, f"± {kind.jump:g} {kind.unit}")
        yield Broken(what, _plain(act.place), need, have, "Measure again; if it is so, say --despite.")


def _plain(place: str) -> str:
    """A place by the name people know it by: ``Q1`` for ``vat:Q1``."""
    return place.removeprefix("vat:")


def _value(value: float, unit: str) -> str:
    """A value to the hundredth, with its unit where it has one: 79.5 °F of a farm file are 26.39 °C."""
    return f"{round(value, 2):g} {unit}".strip()


def _last(scene: Scene, act: Measuring) -> Reading | None:
    plain = _plain(act.place)
    rows = [
        one
        for one in scene.floor.readings
        if one.place.removeprefix("vat:") == plain
        and one.quantity == act.quantity
        and act.at - timedelta(hours=_AFRESH_H) <= one.at <= act.at
    ]
    return max(rows, key=lambda one: one.at, default=None)


@rule(
    "reading-alarm", "A reading outside the alarm limits is an alarm at once", "warn",
    "alarm limits of the groups in the library and of the farm file", Measuring, book=RULES,
)  # fmt: skip
def reading_alarm(scene: Scene, act: Measuring) -> Iterator[Broken]:
    """Recorded anyway: it is true, and someone must act."""
    expected, kind = limits_of(scene, act.place, act.quantity), QUANTITIES.get(act.quantity)
    if expected is None or kind is None:
        return
    words = alarm_words(act.value, expected, kind.unit)
    if words:
        what = f"Alarm: {reading_words(act.quantity, act.value)} at {_plain(act.place)}, {words}."
        do = "Look at the water and the animals now."
        yield Broken(what, _plain(act.place), words, _value(act.value, kind.unit), do, expected.animals)


def alarm_words(value: float, limits: Limits, unit: str) -> str:
    """On which side of its alarm limits a value lies, in words; empty when between them."""
    if limits.low is not None and value < limits.low:
        return f"alarm below {limits.low:g} {unit}".strip()
    if limits.high is not None and value > limits.high:
        return f"alarm above {limits.high:g} {unit}".strip()
    return ""


@rule("count-many", "A loss far above what usually dies is counted again", "reason", _HABIT, Counting, book=RULES)
def count_many(scene: Scene, act: Counting) -> Iterator[Broken]:
    """More than a quarter of those who are there, and more than five."""
    stands = sum(one.count for one in scene.floor.in_vat(act.vat) if one.batch == act.batch.id)
    lost = sum(number for head, number in act.lost.items() if head != "doa")
    most = max(5, stands // 4)
    if stands and most < lost <= stands:
        what = f"{lost} of {act.batch.id} in {act.vat} at once; {stands} are there."
        do = "Count again; if it is so, say --despite."
        yield Broken(what, act.vat, f"at most {most} without asking", str(lost), do, (act.batch.id,))


@rule(
    "above-line",
    "More animals than the line announced need a reason",
    "reason",
    _HABIT,
    Counting,
    Rebooking,
    book=RULES,
)
def above_line(scene: Scene, act: Counting | Rebooking) -> Iterator[Broken]:
    """5,000 animals are not booked on a line of 60 by a typing error of the thumb."""
    line = act.batch.announced
    if isinstance(act, Counting):
        lost = sum(one.count for one in scene.floor.losses if one.batch == act.batch.id and one.head == "missing")
        number, most = act.found, lost
    elif act.extra:
        number, most = act.number, max(1, line // 10)
    else:
        number, most = act.number, line
    if number > most:
        what = f"{number} for {act.batch.id}, a line of {line}."
        yield Broken(
            what, act.vat or act.batch.id, f"at most {most}", str(number), "Count again, or say why.", (act.batch.id,)
        )


@rule("cut-kind", "Only corals are cut", "refuse", "common practice, no source", Cutting, book=RULES)
def cut_kind(scene: Scene, act: Cutting) -> Iterator[Broken]:
    """Clams, snails, shrimps, stars, anemones and fish are not fragmented."""
    group = scene.group(act.parent)
    if group.kind not in {"stony coral", "soft coral"}:
        what = f"{act.parent.id} {act.parent.name} is a {group.kind}: it cannot be cut into fragments."
        yield Broken(what, act.parent.id, "a coral", group.kind, "Check the batch.", (act.parent.id,))


@rule("cut-many", "A parent gives only so many fragments", "reason", _HABIT, Cutting, book=RULES)
def cut_many(scene: Scene, act: Cutting) -> Iterator[Broken]:
    """Twelve from each colony that is there."""
    most = 12 * max(1, scene.floor.headcount(act.parent.id))
    if act.pieces > most:
        what = f"{act.pieces} fragments of {act.parent.id}."
        yield Broken(
            what, act.parent.id, f"at most {most}", str(act.pieces), "Count again, or say why.", (act.parent.id,)
        )


@rule("finding-elsewhere", "A finding is booked where the batch stood", "refuse", _HABIT, Noticing, book=RULES)
def finding_elsewhere(scene: Scene, act: Noticing) -> Iterator[Broken]:
    """A finding restarts the clock of everybody in that water, so the water must be the right one."""
    now = [one.vat for one in scene.floor.stays if one.batch == act.batch.id and one.since <= act.at]
    then = [one.vat for one in scene.floor.past if one.batch == act.batch.id and one.start <= act.at]
    stood = list(dict.fromkeys((*now, *then)))
    if (act.vat and act.vat not in stood) or not stood:
        told = ", ".join(stood) or "no vat"
        what = f"{act.batch.id} has not stood in {act.vat or 'any vat'}."
        do = f"Name a vat it stood in: {told}." if stood else "Receive it first."
        yield Broken(what, act.vat or act.batch.id, told, act.vat or "none", do, (act.batch.id,))


@rule("clean-occupied", "A vat with animals in it is not clean and dry", "refuse", _HABIT, Cleaning, book=RULES)
def clean_occupied(scene: Scene, act: Cleaning) -> Iterator[Broken]:
    """Move them first."""
    here = scene.floor.in_vat(act.vat)
    if here:
        told = ", ".join(f"{one.count} of {one.batch}" for one in here)
        animals = tuple(one.batch for one in here)
        yield Broken(f"{act.vat} holds {told}.", act.vat, "an empty vat", told, "Move them first.", animals)


@rule("close-occupied", "A vat closed with animals in it is emptied soon", "warn", _HABIT, Closing, book=RULES)
def close_occupied(scene: Scene, act: Closing) -> Iterator[Broken]:
    """Those that are there may stay; no one follows."""
    here = scene.floor.in_vat(act.vat)
    if here:
        told = ", ".join(f"{one.count} of {one.batch}" for one in here)
        animals = tuple(one.batch for one in here)
        yield Broken(f"{act.vat} still holds {told}.", act.vat, "an empty vat", told, "Plan a move.", animals)


@rule("amend-past", "An order still to come does not land in the past", "refuse", _HABIT, Amending, book=RULES)
def amend_past(scene: Scene, act: Amending) -> Iterator[Broken]:
    """What has landed is received, not amended."""
    if act.lands is not None and act.lands < act.at:
        zone = scene.site.farm.zone
        have = f"{act.lands.astimezone(zone):%Y-%m-%d %H:%M}"
        do = f"If it has landed: vatside receive {act.shipment}."
        yield Broken(f"{act.shipment} cannot land in the past.", act.shipment, "a time to come", have, do)


@rule("amend-many", "A line does not grow tenfold by a typing error", "reason", _HABIT, Amending, book=RULES)
def amend_many(scene: Scene, act: Amending) -> Iterator[Broken]:
    """Against the number announced before."""
    for name, number in act.announced.items():
        line = scene.floor.batches.get(name)
        if line is not None and number > 10 * max(1, line.announced):
            what = f"{name}: {number} announced, was {line.announced}."
            need = f"at most {10 * max(1, line.announced)}"
            yield Broken(what, name, need, str(number), "Check the number, or say why.", (name,))


@rule(
    "not-free", "A lot leaves quarantine, healing or a hold only when it is free to", "reason",
    "the last lot in sets the release date (S73); findings and tests, not days", Leaving, book=RULES,
)  # fmt: skip
def not_free(_scene: Scene, act: Leaving) -> Iterator[Broken]:
    """What blocks it is reported by the release check."""
    if act.why:
        what = f"{act.batch.id} in {act.vat} is not free to go to {act.target}: {'; '.join(act.why[:3])}."
        do = "Wait for release, or override with --despite REASON (saved with the move)."
        yield Broken(what, act.vat, "a lot that is free", f"to go to {act.target}", do, (act.batch.id,))


@rule("undo-right", "Who undoes an act may do that act", "refuse", _HABIT, Undoing, book=RULES)
def undo_right(_scene: Scene, act: Undoing) -> Iterator[Broken]:
    """The same right as the act itself."""
    if not act.may:
        what = f"{act.who or 'This person'} may not undo this: {act.what}."
        yield Broken(what, act.what, "the right to the act itself", act.who, "Ask someone who may.")


@rule("undo-depends", "Nothing is undone that later entries stand on", "refuse", _HABIT, Undoing, book=RULES)
def undo_depends(_scene: Scene, act: Undoing) -> Iterator[Broken]:
    """A receipt with counts, a claim sent, animals since moved."""
    if act.depends:
        told = "; ".join(act.depends[:6])
        more = f" and {len(act.depends) - 6} more" if len(act.depends) > 6 else ""
        what = f"{act.what}: {len(act.depends)} later entries stand on it: {told}{more}."
        do = "Undo those first, newest first, or correct with a new entry."
        yield Broken(what, act.what, "no later entry on it", f"{len(act.depends)}", do)
