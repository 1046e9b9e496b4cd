"""Work beside the pages: long searches, one at a time, whose answer is saved for the page that asks; and backups."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from intake.errors import IntakeError

__all__ = ["Job", "Jobs", "Regular", "Watch"]

log = logging.getLogger("vatside.board")

Search = Callable[[Callable[[str], bool]], Any]


@dataclass
class Job:
    """One search: what it is, since when, how far, whether it was asked to stop, and its answer or what went wrong."""

    kind: str
    since: datetime
    by: str
    progress: str = ""
    running: bool = True
    stopping: bool = False
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

    def stop(self, kind: str) -> bool:
        """Ask the search of this kind to end with the best so far; ``False`` when none is running."""
        job = self._last.get(kind)
        if job is None or not job.running:
            return False
        job.stopping = True
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
        def tell(words: str) -> bool:
            job.progress = words
            return job.stopping

        try:
            job.answer = search(tell)
        except IntakeError as error:
            job.wrong = str(error)
        except Exception:  # the page says that it failed, the log says how
            log.exception("%s failed", job.kind)
            job.wrong = "This failed. See the server log for the cause."
        finally:
            job.running = False


_REST: Final = 10.0
_LONGEST_REST_S: Final = 60.0


class Watch:
    """An answer that takes longer to find than a page may wait: the last one found is shown, a newer one looked for.

    After a search that took long none is begun for ten times as long, at most a minute, so that a day of counting is not
    a day of looking for alarms; what presses (animals died) waits only as long as the search took, so that the searching
    is at most half of one thread's time (design defaults).
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._state: object = None
        self._answer: Any = None
        self._thread: threading.Thread | None = None
        self._took_s = self._found_at = 0.0
        self._began: datetime | None = None
        self._weighed: tuple[object, bool] = (None, False)

    def ask(
        self,
        state: object,
        question: Callable[[], Any],
        patience_s: float,
        *,
        now: datetime | None = None,
        presses: Callable[[datetime], bool] | None = None,
    ) -> Any:
        """The answer for this state of the ledger if it is found in time, else the one before; ``None`` before any.

        Parameters
        ----------
        state
            Of what is asked about; the same state has the same answer.
        question
            Finds the answer, in a thread of its own.
        patience_s
            Seconds to wait for it.
        now
            The present, by the farm's clock.
        presses
            Whether something recorded since a moment cannot wait for the long rest; asked once a state.
        """
        with self._lock:
            idle = self._thread is None or not self._thread.is_alive()
            if idle and state != self._state and self._rested(state, presses):
                self._began = now
                self._thread = threading.Thread(
                    target=self._find, args=(state, question), name="vatside-watch", daemon=True
                )
                self._thread.start()
            thread = self._thread
        if thread is not None:
            thread.join(patience_s)
        return self._answer

    def _rested(self, state: object, presses: Callable[[datetime], bool] | None) -> bool:
        gone = time.monotonic() - self._found_at
        if gone >= min(_LONGEST_REST_S, _REST * self._took_s):
            return True
        if presses is None or self._began is None or gone < min(_LONGEST_REST_S, self._took_s):
            return False
        if self._weighed[0] != state:
            self._weighed = (state, presses(self._began))
        return self._weighed[1]

    def knows(self, state: object) -> bool:
        """Whether the answer given now is the one for this state."""
        return self._state == state

    @property
    def found(self) -> int:
        """Changes when another answer was found."""
        return hash(repr(self._answer))

    def wait(self, seconds: float) -> None:
        """Wait for the answer that is being looked for."""
        if self._thread is not None:
            self._thread.join(seconds)

    def _find(self, state: object, question: Callable[[], Any]) -> None:
        began = time.monotonic()
        try:
            self._answer = question()
        except Exception:  # a page without its alarms is better than none; the log says how it failed
            log.exception("alarms failed")
            self._answer = None
        self._state = state
        self._found_at = time.monotonic()
        self._took_s = self._found_at - began


class Regular:
    """Something done again and again beside the pages until it is stopped; what it says, and its troubles, go to the log.

    The same trouble is told once, until it is over.
    """

    def __init__(self, name: str, act: Callable[[], Iterable[str]], every_s: float) -> None:
        self._name, self._act, self._every_s = name, act, every_s
        self._stopped = threading.Event()
        self._thread = threading.Thread(target=self._run, name=f"vatside-{name}", daemon=True)

    def start(self) -> None:
        """Begin: at once, then with this many seconds between."""
        self._thread.start()

    def stop(self, seconds: float = 30.0) -> None:
        """End, once what is being done is done."""
        self._stopped.set()
        self._thread.join(seconds)

    def _run(self) -> None:
        trouble = ""
        while not self._stopped.is_set():
            before, trouble = trouble, ""
            try:
                for words in self._act():
                    log.info("%s", words)
            except IntakeError as error:
                trouble = str(error)
                if trouble != before:
                    log.error("%s: %s", self._name, error)
            except Exception as error:  # the board goes on; its foot says how old the last backup is
                trouble = repr(error)
                if trouble != before:
                    log.exception("%s failed", self._name)
            self._stopped.wait(self._every_s)
