"""Reading that takes longer than a person waits: apart from any request, with its progress, stopped when asked.

One is read at a time in a process, and each pauses now and then, so that a month of orders slows no station.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

from cubital.app.order_log import ReadLog

Step = Callable[[int], None]
"""Told how far it is, now and then; raises `Stopped` once it is to stop."""
_PAUSE_EVERY, _PAUSE_S = 25, 0.002


class Stopped(Exception):
    """Reading was stopped by whom it was read for."""


class LogReading:
    """One file that is being read, or was: `total` and `done` in bytes; `log` what it came to."""

    def __init__(self, total: int) -> None:
        self.total, self.done = total, 0
        self.log: ReadLog | None = None
        self.is_over = self.is_stopped = self.has_failed = False
        self._stop = threading.Event()
        self._steps = 0

    @property
    def percent(self) -> int:
        """How much of it is read."""
        return 100 * self.done // max(1, self.total)

    def step(self, done: int) -> None:
        """Take down how far it is, and let others have the core."""
        if self._stop.is_set():
            raise Stopped
        self.done = done
        self._steps += 1
        if self._steps % _PAUSE_EVERY == 0:
            time.sleep(_PAUSE_S)

    def stop(self) -> None:
        """Ask it to stop; nothing of it is kept."""
        self._stop.set()


class LogReadings:
    """The files that are read for people now, one for each of them; a new one takes the place of the one before."""

    def __init__(self) -> None:
        self._lock, self._turn = threading.Lock(), threading.Lock()
        self._of: dict[str, LogReading] = {}

    def of(self, account: str) -> LogReading | None:
        """What is being read for this account, or was last."""
        return self._of.get(account)

    def forget(self, account: str) -> None:
        """Stop it where it still reads, and forget it."""
        with self._lock:
            found = self._of.pop(account, None)
        if found is not None:
            found.stop()

    def start(
        self, account: str, total: int, read: Callable[[Step], ReadLog], *, keep: Callable[[ReadLog], None]
    ) -> LogReading:
        """Begin to read in a thread of its own; it is kept at the end, and nothing of it where it is stopped."""
        reading = LogReading(total)
        with self._lock:
            before = self._of.get(account)
            self._of[account] = reading
        if before is not None:
            before.stop()

        def work() -> None:
            try:
                with self._turn:
                    log = read(reading.step)
                    reading.step(total)
                    if log.orders:
                        keep(log)
                    reading.log = log
            except Stopped:
                reading.is_stopped = True
            except Exception:
                # Its words may hold what was in the file: the page says only that it failed, and nothing was kept.
                reading.has_failed = True
            finally:
                reading.is_over = True

        threading.Thread(target=work, name="log of orders", daemon=True).start()
        return reading
