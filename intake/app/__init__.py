"""The application layer: one function for each command, one transaction each; here the rooms meet the disk and the clock."""

from collections.abc import Callable

from intake.app.session import Act, followed_by


def _load() -> Callable[[Act], None]:
    from intake.app.calendars.follow_acts import (
        follow,
    )  # loaded with the first act: a command that only reads needs none

    return follow


followed_by(_load)
