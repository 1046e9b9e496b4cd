"""Lets a person stop the solver: it runs beside us while we ask now and then whether to halt it."""

from __future__ import annotations

from collections.abc import Callable
from threading import Thread
from typing import Any

__all__ = ["watched"]


def watched(stop: Callable[[], bool]) -> Callable[[Callable[[], Any], Callable[[], None]], Any]:
    """A watch for :func:`intake.receiving.run_day` that halts the solver once ``stop`` says yes."""

    def run(solve: Callable[[], Any], halt: Callable[[], None]) -> Any:
        found: list[Any] = []
        worker = Thread(target=lambda: found.append(solve()), daemon=True)
        worker.start()
        while worker.is_alive():
            worker.join(0.1)
            if stop():
                halt()
        return found[0]

    return run
