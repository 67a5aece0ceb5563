"""Old logs taken away."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path

from advisor.errors import JournalError
from advisor.review.logs import VERDICTS

_AGE = re.compile(r"(\d+)\s*([dwy])")
_DAYS = {"d": 1, "w": 7, "y": 365}
_TAIL = 1 << 20


def days_of(age: str) -> int | None:
    """The days in an age such as ``90d``, ``12w`` or ``2y``; None for anything else."""
    found = _AGE.fullmatch(age.strip().lower())
    return int(found.group(1)) * _DAYS[found.group(2)] if found else None


def old_logs(folder: Path, before: float) -> Iterator[Path]:
    """The log files whose last event is older than a moment, in seconds since 1970.

    Without a time stamp the file's own time counts.
    """
    for path in sorted(folder.rglob("*.jsonl")):
        if path.name != VERDICTS and path.is_file() and _last(path) < before:
            yield path


def prune(folder: Path, paths: list[Path]) -> int:
    """How many verdicts went with these log files, all of which are gone then.

    Raises:
        JournalError: a file can't be taken away or written.
    """
    gone = {path.name for path in paths}
    dropped = 0
    try:
        for path in paths:
            path.unlink()
        for verdicts in sorted(folder.rglob(VERDICTS)):
            lines = verdicts.read_text(encoding="utf-8").splitlines(keepends=True)
            kept = [line for line in lines if _file_of(line) not in gone]
            if len(kept) < len(lines):
                dropped += len(lines) - len(kept)
                verdicts.write_text("".join(kept), encoding="utf-8")
    except OSError as problem:
        raise JournalError(f"{problem.filename}: the log can't be pruned: {problem.strerror}.") from None
    return dropped


def _file_of(line: str) -> str:
    try:
        return str(json.loads(line)["session"]).rpartition("#")[0]
    except (ValueError, KeyError, TypeError):
        return ""


def _last(path: Path) -> float:
    """The last time stamp in a log's end, or the file's own time."""
    with path.open("rb") as file:
        file.seek(max(0, path.stat().st_size - _TAIL))
        lines = file.read().decode("utf-8", errors="replace").splitlines()
    for line in reversed(lines):
        try:
            return float(json.loads(line)["timestamp"])
        except (ValueError, KeyError, TypeError):
            continue
    return path.stat().st_mtime
