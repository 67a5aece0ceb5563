"""A session's log: rasa events as JSON lines, written as each turn ends; a killed process loses one line at most."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from contextlib import suppress
from importlib.metadata import version
from pathlib import Path
from typing import Any

from advisor.errors import JournalError

Clock = Callable[[], float]


class Journal:
    """Appends events to one file that only its owner may read (mode 0600).

    Args:
        path: the file; its folder is made if need be.
        clock: seconds since 1970; comes from the door, so that the core reads no clock.
        fingerprint: of the knowledge the session was advised with.
        resumed: the file holds a session that goes on; a line torn when its process was killed is ended first.

    Raises:
        JournalError: the file can't be made.
    """

    def __init__(self, path: Path, clock: Clock, fingerprint: str, resumed: bool = False) -> None:
        self.path, self._clock = path, clock
        started = {"advisor": version("door-hardware-advisor"), "knowledge": fingerprint}
        try:
            path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            self._file = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600)
            if resumed and not path.read_bytes().endswith(b"\n"):
                os.write(self._file, b"\n")
        except OSError as problem:
            raise JournalError(f"{path}: the log can't be written: {problem.strerror}.") from None
        self.append([{"event": "session_started", "metadata": started | ({"resumed": True} if resumed else {})}])

    def append(self, events: list[dict[str, Any]]) -> None:
        """Write a turn's events.

        Raises:
            JournalError: the disk is full or the file gone; what was written before stays readable.
        """
        stamp = self._clock()
        lines = [json.dumps({**event, "timestamp": stamp}, ensure_ascii=False) + "\n" for event in events]
        written, whole = 0, "".join(lines).encode()
        try:
            while written < len(whole):
                written += os.write(self._file, whole[written:])
        except OSError as problem:
            self._take_back(written)
            raise JournalError(f"{self.path}: the log can't be written: {problem.strerror}.") from None

    def _take_back(self, written: int) -> None:
        """Cut off what was written of a turn that could not be written whole."""
        with suppress(OSError):
            os.ftruncate(self._file, os.fstat(self._file).st_size - written)

    def close(self) -> None:
        """Close the file."""
        os.close(self._file)
