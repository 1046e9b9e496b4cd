"""What the feed tests share: the compiled reader and the sample feed."""

from __future__ import annotations

from pathlib import Path

import pytest

from intake.feed import render, revise
from tests.feed import readers, sample


@pytest.fixture(scope="session")
def libical(tmp_path_factory: pytest.TempPathFactory) -> Path | None:
    """The libical reader, None where it cannot be built."""
    return readers.build_libical(tmp_path_factory.mktemp("libical"))


@pytest.fixture(scope="session", params=sorted(sample.CHANGE_DAYS))
def zone_name(request: pytest.FixtureRequest) -> str:
    """Each zone in which the sample is written."""
    return str(request.param)


@pytest.fixture(scope="session")
def feed(zone_name: str) -> bytes:
    """The sample events of one zone as a feed."""
    return render(revise({}, sample.events(zone_name), sample.NOW), sample.face(zone_name), sample.NOW)


@pytest.fixture
def feed_file(feed: bytes, tmp_path: Path) -> Path:
    """The sample feed as a file for readers outside Python."""
    file = tmp_path / "feed.ics"
    file.write_bytes(feed)
    return file
