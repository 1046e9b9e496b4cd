"""What changed, as it happens: one look at the ledger a moment for all who listen, sent as server-sent events."""

from __future__ import annotations

import asyncio
import time
from collections.abc import AsyncIterator, Callable
from typing import Final

from starlette.concurrency import run_in_threadpool

__all__ = ["Pulse"]

_LOOK_S: Final = 0.7
_QUIET_S: Final = 15.0
_MOST: Final = 60


class Pulse:
    """The state of the farm's pages as one word, which changes when any page would.

    Attributes
    ----------
    longest_s
        After so long a stream ends by itself; a browser opens it again.
    """

    def __init__(self, state: Callable[[], str], longest_s: float = 300.0) -> None:
        self._state, self.longest_s = state, longest_s
        self._listeners = 0
        self._looked_at, self._word = -1.0, ""
        self._lock = asyncio.Lock()

    @property
    def full(self) -> bool:
        """Whether as many listen as this computer should serve; others ask for the beat."""
        return self._listeners >= _MOST

    async def events(self) -> AsyncIterator[str]:
        """Beats as they change, a comment now and then so that a dead connection is noticed."""
        self._listeners += 1
        try:
            began = said = time.monotonic()
            last = ""
            yield "retry: 2000\n\n"
            while True:
                word = await self._now()
                if word != last:
                    last, said = word, time.monotonic()
                    yield f"data: {word}\n\n"
                elif time.monotonic() - said > _QUIET_S:
                    said = time.monotonic()
                    yield ": still here\n\n"
                if time.monotonic() - began >= self.longest_s:
                    return
                await asyncio.sleep(_LOOK_S)
        finally:
            self._listeners -= 1

    async def _now(self) -> str:
        async with self._lock:
            if time.monotonic() - self._looked_at >= _LOOK_S / 2:
                self._word = await run_in_threadpool(self._state)
                self._looked_at = time.monotonic()
            return self._word
