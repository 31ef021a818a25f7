"""How far is long work? One line on a terminal, nothing elsewhere."""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TextIO

_AFTER = 1.0  # seconds before anything is shown
_EVERY = 0.2


class Progress:
    """A line that is written over as the work goes on, and wiped at its end.

    Parameters
    ----------
    stream : file, optional
        Where to write; nothing is written without one, or if it is no terminal.
    what : str
        What is being done, as in "tallying".
    """

    def __init__(self, stream: TextIO | None = None, what: str = "tallying") -> None:
        self._stream = stream if stream is not None and stream.isatty() else None
        self._what = what

    @contextmanager
    def following(self, percent: Callable[[], float]) -> Iterator[None]:
        """Show what `percent` gives, now and then, while the block runs."""
        with self._shown(percent):
            yield

    @contextmanager
    def waiting(self) -> Iterator[None]:
        """Show the time that has passed, while the block runs."""
        with self._shown(lambda: -1.0):
            yield

    @contextmanager
    def _shown(self, percent: Callable[[], float]) -> Iterator[None]:
        if self._stream is None:
            yield
            return
        done, start = threading.Event(), time.monotonic()

        def show() -> None:
            while not done.wait(_EVERY):
                passed = time.monotonic() - start
                if passed >= _AFTER:
                    self._write(f"{self._what} {self._far(percent())}{passed:,.0f} s")

        thread = threading.Thread(target=show, daemon=True)
        thread.start()
        try:
            yield
        finally:
            done.set()
            thread.join()
            self._write("")

    @staticmethod
    def _far(percent: float) -> str:
        if not 0 < percent <= 100:  # engines say 0 or -1 where they cannot tell
            return ""
        filled = int(percent / 5)
        return f"[{'#' * filled}{'.' * (20 - filled)}] {percent:3.0f} %  "

    def _write(self, text: str) -> None:
        assert self._stream is not None
        self._stream.write(f"\r\x1b[K{text}")
        self._stream.flush()


silent = Progress()


def on_stderr(what: str = "tallying") -> Progress:
    """Progress on standard error, where that is a terminal."""
    return Progress(sys.stderr, what)
