"""Long searches beside the pages: one at a time, its progress and its answer kept for the page that asks."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from intake.errors import IntakeError

__all__ = ["Job", "Jobs"]

log = logging.getLogger("vatside.board")

Search = Callable[[Callable[[str], None]], Any]


@dataclass
class Job:
    """One search: what it is, since when, how far, and its answer or what went wrong."""

    kind: str
    since: datetime
    by: str
    progress: str = ""
    running: bool = True
    answer: Any = None
    wrong: str = ""


class Jobs:
    """The search running now, and the last answer of each kind."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._last: dict[str, Job] = {}
        self._thread: threading.Thread | None = None

    def last(self, kind: str) -> Job | None:
        """The job of this kind started last."""
        return self._last.get(kind)

    def start(self, kind: str, since: datetime, by: str, search: Search) -> bool:
        """Start a search; ``False`` when one is running."""
        with self._lock:
            if self._thread is not None and self._thread.is_alive():
                return False
            job = Job(kind, since, by)
            self._last[kind] = job
            self._thread = threading.Thread(target=self._run, args=(job, search), name=f"vatside-{kind}", daemon=True)
            self._thread.start()
            return True

    def wait(self, seconds: float) -> None:
        """Wait for the search that is running."""
        if self._thread is not None:
            self._thread.join(seconds)

    def forget(self, kind: str) -> None:
        """Drop the last answer of a kind."""
        self._last.pop(kind, None)

    @staticmethod
    def _run(job: Job, search: Search) -> None:
        def tell(words: str) -> None:
            job.progress = words

        try:
            job.answer = search(tell)
        except IntakeError as error:
            job.wrong = str(error)
        except Exception:  # the page says that it failed, the log says how
            log.exception("%s failed", job.kind)
            job.wrong = "It failed; the server's log says how."
        finally:
            job.running = False
