"""Calendar addresses cannot be guessed, are kept as hashes only, and are dead once revoked."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from intake.app.calendars import feed_addresses
from intake.errors import UnknownName
from tests.app.deliveries import Open
from tests.conftest import NOON

GUESSES = ("", "F1", "ada", "farm", "0" * 43, "A" * 43, "../../farm.db", "%00", "'; drop table record; --")


def test_a_guessed_address_is_nobodys(house_at: Open) -> None:
    """Neither ids, names, prefixes nor a token with one letter changed open a calendar."""
    _, token = feed_addresses.create(house_at(), "ada")
    house = house_at()
    changed = ("A" if token[0] != "A" else "B") + token[1:]
    assert feed_addresses.subscriber_of(house, token) is not None
    for guess in (*GUESSES, token[:-1], token + "A", changed, token.swapcase()):
        assert feed_addresses.subscriber_of(house, guess) is None, guess


def test_a_token_is_long_and_never_the_same(house_at: Open) -> None:
    """256 random bits (32 bytes in base 64 are 43 letters): 10⁹ guesses a second for the age of the universe find none."""
    tokens = {feed_addresses.create(house_at(), "ada")[1] for _ in range(20)}
    assert len(tokens) == 20
    assert all(len(token) == 43 for token in tokens)


def test_the_books_hold_no_token(farm_folder: Path, house_at: Open) -> None:
    """Who steals a backup cannot subscribe."""
    _, token = feed_addresses.create(house_at(), "ada")
    house_at().books.close()
    kept = b"".join(path.read_bytes() for path in farm_folder.rglob("*") if path.is_file())
    assert token.encode() not in kept


def test_a_revoked_address_is_known_as_revoked(house_at: Open) -> None:
    """It answers "gone", which makes readers stop asking, and not "unknown"; a fresh one works."""
    identity, token = feed_addresses.create(house_at(), "ada")
    feed_addresses.revoke(house_at(NOON + timedelta(hours=1)), identity)
    found = feed_addresses.subscriber_of(house_at(NOON + timedelta(hours=2)), token)
    assert found is not None
    assert found.revoked == NOON + timedelta(hours=1)
    _, other = feed_addresses.create(house_at(NOON + timedelta(hours=2)), "ada")
    again = feed_addresses.subscriber_of(house_at(NOON + timedelta(hours=2)), other)
    assert again is not None
    assert again.revoked is None


def test_an_address_for_nobody_is_not_made(house_at: Open) -> None:
    """A slip in a name would make an address whose calendar stays empty for ever."""
    with pytest.raises(UnknownName, match="ada"):
        feed_addresses.create(house_at(), "adaa")
    assert feed_addresses.addresses(house_at()) == []
