"""Failed sign-ins are forgotten after sixty seconds: not one before, and none kept after."""

from __future__ import annotations

import pytest

from intake.board.middleware import Tries


@pytest.mark.parametrize(("seconds", "allowed"), [(0.0, False), (59.9, False), (60.0, True), (60.1, True)])
def test_a_failed_try_counts_for_sixty_seconds(seconds: float, allowed: bool) -> None:
    """Guessing is slowed to so many tries a minute, and a person who mistyped waits no longer than that."""
    clock = [1000.0]
    tries = Tries(each=2, together=9, clock=lambda: clock[0])
    tries.failed("ada")
    tries.failed("ada")
    clock[0] += seconds
    assert tries.allowed("ada") == allowed


def test_each_try_is_forgotten_on_its_own() -> None:
    """The limit is on any sixty seconds, not on minutes of the clock."""
    clock = [0.0]
    tries = Tries(each=2, together=9, clock=lambda: clock[0])
    tries.failed("ada")
    clock[0] = 40.0
    tries.failed("ada")
    assert not tries.allowed("ada")
    clock[0] = 60.0
    assert tries.allowed("ada"), "only the second is younger than a minute"
    tries.failed("ada")
    assert not tries.allowed("ada")
    clock[0] = 99.9
    assert not tries.allowed("ada")
    clock[0] = 100.0
    assert tries.allowed("ada")


def test_limits_are_eight_for_one_source_and_sixty_together() -> None:
    """What stands in the documentation is what holds without being asked."""
    tries = Tries(clock=lambda: 0.0)
    for _ in range(7):
        tries.failed("D1", "ada")
    assert tries.allowed("D1", "ada")
    tries.failed("D1", "ada")
    assert not tries.allowed("D1", "ada")
    assert not tries.allowed("D1", "ben"), "a device that guesses is stopped whoever it claims to be"
    for number in range(52):
        tries.failed(f"other {number}")
    assert not tries.allowed("other 1"), "sixty in all"
    assert tries.allowed("D2", "ben"), "a device that has not failed draws on the reserve"
    for number in range(20):
        tries.failed(f"more {number}")
    assert not tries.allowed("D2", "ben")


def test_one_device_does_not_lock_a_person_out_elsewhere() -> None:
    """Three phones may guess at one person; a fourth on which nothing failed lets them in still."""
    tries = Tries(clock=lambda: 0.0)
    for device in ("D1", "D2", "D3"):
        for _ in range(8):
            tries.failed(device, "ada")
    assert tries.allowed("D4", "ada")
    tries.failed("D4", "ada")
    assert not tries.allowed("D4", "ada"), "no second guess where many were made at this person"
    assert tries.allowed("D4", "ben")
