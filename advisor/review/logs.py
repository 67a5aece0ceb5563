"""Past conversations as they lie on disk: the advisor's own logs, and others' transcripts and lists of questions.

Reading goes in two steps, so that memory stays flat and the work can be spread: `raw_sessions` streams the files and
only cuts them into sessions; `read_session` takes one session's lines apart, wherever that is done.
"""

from __future__ import annotations

import csv
import json
import re
import sys
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from glob import glob
from itertools import chain
from pathlib import Path
from typing import Any, BinaryIO, Literal

from advisor.errors import JournalError
from advisor.yaml_files import Place

Form = Literal["events", "transcript", "questions"]
STDIN = "-"
VERDICTS = "verdicts.jsonl"
QUESTION_KEYS = ("question", "text", "customer", "words", "message", "line")
SESSION_KEY = "session"
_SUFFIXES = (".jsonl", ".json", ".csv", ".txt", ".log")
_SPEAKER = re.compile(r"\s*(customer|counter)\s*:\s?(.*)", re.I | re.S)
_BETWEEN = re.compile(r"\s*[-=*]{3,}\s*")


@dataclass(frozen=True, slots=True)
class Problem:
    """Something that could not be read, and where."""

    place: str
    text: str

    def __str__(self) -> str:
        return f"{self.place}: {self.text}"


@dataclass(frozen=True, slots=True)
class RawSession:
    """One session's lines as they stand in a file, each with its line number. ``size``: their bytes."""

    file: str
    number: int
    form: Form
    lines: tuple[tuple[int, str], ...]
    size: int
    whole: bool = True

    @property
    def name(self) -> str:
        """What the session is called: its file's name and its number in it."""
        return f"{Path(self.file).name}#{self.number}"


@dataclass(frozen=True, slots=True)
class PastTurn:
    """One exchange. ``answer`` is the turn as it was logged, or None where no answer of the advisor is on record."""

    said: str
    answer: Mapping[str, Any] | None = None
    one_shot: bool = False
    stamp: float | None = None


@dataclass(frozen=True, slots=True)
class PastSession:
    """One conversation. ``knowledge`` is the fingerprint of each stretch of it; empty for other people's logs."""

    name: str
    place: str
    form: Form
    turns: tuple[PastTurn, ...]
    knowledge: tuple[str, ...] = ()
    slots: Mapping[str, Any] | None = None


def find_files(paths: Iterable[str]) -> tuple[list[str], list[Problem]]:
    """The log files that paths lead to, each once, and what leads nowhere.

    A folder stands for every log file below it, a pattern for what it fits, ``-`` for standard input. Files of
    verdicts are no logs.
    """
    found: dict[str, None] = {}
    problems = []
    for path in paths:
        if path == STDIN:
            found[path] = None
            continue
        place = Path(path)
        if place.is_dir():
            files = [str(file) for file in sorted(place.rglob("*")) if file.suffix in _SUFFIXES and file.is_file()]
        elif place.is_file():
            files = [path]
        else:
            files = [file for file in sorted(glob(path, recursive=True)) if Path(file).is_file()]
            if not files:
                problems.append(Problem(path, "There is no such file, folder or pattern of files."))
        found |= {file: None for file in files if Path(file).name != VERDICTS}
    return list(found), problems


def raw_sessions(files: Iterable[str]) -> Iterator[RawSession | Problem]:
    """The sessions of files, one after the other; what can't be read comes as a problem between them."""
    for file in files:
        if file == STDIN:
            yield from _cut(STDIN, sys.stdin.buffer)
            continue
        try:
            with Path(file).open("rb") as stream:
                yield from _cut(file, stream)
        except OSError as problem:
            yield Problem(file, f"The file can't be read: {problem.strerror}.")


def _cut(file: str, stream: BinaryIO) -> Iterator[RawSession | Problem]:
    lines = _decoded(file, stream)
    before: list[tuple[int, str, int] | Problem] = []
    for entry in lines:
        before.append(entry)
        if isinstance(entry, tuple) and entry[1].strip() and not entry[1].lstrip().startswith("#"):
            break
    if not before or isinstance(before[-1], Problem):
        yield from (entry for entry in before if isinstance(entry, Problem))
        return
    number, first, _ = before[-1]
    everything = chain(before, lines)
    if _SPEAKER.match(first):
        yield from _sessions(file, "transcript", everything, lambda line: bool(_BETWEEN.fullmatch(line)))
    elif first.lstrip()[:1] in ("{", "[", '"'):
        if _is_event(first):
            yield from _sessions(file, "events", everything, _starts_session)
        else:
            yield from _questions(file, _json_rows(file, everything))
    elif any(cell.strip().lower() in QUESTION_KEYS for cell in next(csv.reader([first]))):
        yield from _questions(file, _csv_rows(file, everything))
    else:
        kinds = f"a line 'customer: …', a JSON line, or a CSV header with one of {', '.join(QUESTION_KEYS)}"
        yield Problem(str(Place(file, number)), f"This is no log that can be read: it should begin with {kinds}.")


def _decoded(file: str, stream: BinaryIO) -> Iterator[tuple[int, str, int] | Problem]:
    for number, raw in enumerate(stream, start=1):
        try:
            yield number, raw.decode("utf-8-sig" if number == 1 else "utf-8"), len(raw)
        except UnicodeDecodeError:
            yield Problem(str(Place(file, number)), "The line is not UTF-8 and is left out.")


def _is_event(line: str) -> bool:
    try:
        data = json.loads(line)
    except ValueError:
        return '"event"' in line[:40]
    return isinstance(data, dict) and "event" in data


def _starts_session(line: str) -> bool:
    if '"session_started"' not in line[:80]:
        return False
    try:
        data = json.loads(line)
    except ValueError:
        return False
    return data.get("event") == "session_started" and not data.get("metadata", {}).get("resumed")


def _sessions(
    file: str, form: Form, lines: Iterable[tuple[int, str, int] | Problem], starts: Any
) -> Iterator[RawSession | Problem]:
    kept: list[tuple[int, str]] = []
    count, size, whole = 0, 0, True
    for entry in lines:
        if isinstance(entry, Problem):
            yield entry
            continue
        number, line, length = entry
        if starts(line) and kept:
            count += 1
            yield RawSession(file, count, form, tuple(kept), size)
            kept, size = [], 0
        size += length
        whole = line.endswith("\n")
        if line.strip() and not (form == "transcript" and (starts(line) or line.lstrip().startswith("#"))):
            kept.append((number, line.rstrip("\r\n")))
    if kept:
        yield RawSession(file, count + 1, form, tuple(kept), size, whole)


_Row = tuple[int, str, list[str], int]


def _questions(file: str, rows: Iterable[_Row | Problem]) -> Iterator[RawSession | Problem]:
    """Sessions of bare questions: rows that name the same session, one after the other, belong together."""
    count, size, group = 0, 0, ""
    kept: list[tuple[int, str]] = []
    for row in rows:
        if isinstance(row, Problem):
            yield row
            continue
        number, session, said, length = row
        if kept and (not session or session != group):
            count += 1
            yield RawSession(file, count, "questions", tuple(kept), size)
            kept, size = [], 0
        kept += [(number, line) for line in said]
        size, group = size + length, session
    if kept:
        yield RawSession(file, count + 1, "questions", tuple(kept), size)


def _json_rows(file: str, lines: Iterable[tuple[int, str, int] | Problem]) -> Iterator[_Row | Problem]:
    for entry in lines:
        if isinstance(entry, Problem):
            yield entry
            continue
        number, line, size = entry
        if not line.strip():
            continue
        place = str(Place(file, number))
        try:
            data = json.loads(line)
        except ValueError as problem:
            yield Problem(place, f"This is no JSON: {problem}.")
            continue
        said = [data] if isinstance(data, str) else data
        session = ""
        if isinstance(data, dict):
            said = [data[key] for key in QUESTION_KEYS if key in data][:1]
            session = str(data.get(SESSION_KEY) or "")
        if isinstance(said, list) and said and all(isinstance(each, str) for each in said):
            yield number, session, said, size
        else:
            yield Problem(
                place, f"A text, a list of texts, or an object with one of {', '.join(QUESTION_KEYS)} is needed."
            )


def _csv_rows(file: str, lines: Iterable[tuple[int, str, int] | Problem]) -> Iterator[_Row | Problem]:
    problems: list[Problem] = []
    sizes = [0]

    def texts() -> Iterator[str]:
        for entry in lines:
            if isinstance(entry, Problem):
                problems.append(entry)
            else:
                sizes[0] += entry[2]
                yield entry[1]

    reader = csv.reader(texts())
    header = [cell.strip().lower() for cell in next(reader)]
    column = next(header.index(key) for key in QUESTION_KEYS if key in header)
    grouped = header.index(SESSION_KEY) if SESSION_KEY in header else None
    done, line = 0, reader.line_num
    for row in reader:
        yield from problems
        problems.clear()
        start, line = line + 1, reader.line_num
        size, done = sizes[0] - done, sizes[0]
        if not any(cell.strip() for cell in row):
            continue
        if column >= len(row) or not row[column].strip():
            yield Problem(str(Place(file, start)), f"The column {header[column]!r} is empty here.")
            continue
        session = row[grouped].strip() if grouped is not None and grouped < len(row) else ""
        yield start, session, [" ".join(row[column].split("\n"))], size
    yield from problems


def read_session(raw: RawSession) -> tuple[PastSession, list[Problem]]:
    """A session's turns, and what in it can't be read; a turn that was never finished is left out."""
    place = str(Place(raw.file, raw.lines[0][0]))
    if raw.form == "questions":
        turns = tuple(PastTurn(said) for _, said in raw.lines)
        return PastSession(raw.name, place, raw.form, turns), []
    if raw.form == "transcript":
        turns, problems = _transcript(raw)
        return PastSession(raw.name, place, raw.form, turns), problems
    return _events(raw, place)


def _transcript(raw: RawSession) -> tuple[tuple[PastTurn, ...], list[Problem]]:
    said: list[list[str]] = []
    problems, customer, known = [], False, False
    for number, line in raw.lines:
        spoken = _SPEAKER.fullmatch(line)
        if spoken:
            customer, known = spoken.group(1).lower() == "customer", True
            if customer:
                said.append([spoken.group(2).strip()])
        elif known and line[:1].isspace():
            if customer:
                said[-1].append(line.strip())
        else:
            place = str(Place(raw.file, number))
            problems.append(Problem(place, "A line of a transcript begins with 'customer:' or 'counter:'."))
    return tuple(PastTurn(" ".join(parts)) for parts in said), problems


def _events(raw: RawSession, place: str) -> tuple[PastSession, list[Problem]]:
    turns: list[PastTurn] = []
    knowledge: list[str] = []
    problems: list[Problem] = []
    slots: dict[str, Any] = {}
    changed: dict[str, Any] = {}
    user: Mapping[str, Any] | None = None
    for at, (number, line) in enumerate(raw.lines):
        try:
            event = json.loads(line)
            kind = event["event"]
            if kind == "session_started":
                knowledge.append(event.get("metadata", {}).get("knowledge", ""))
                user = None
            elif kind == "user":
                user, changed = {"text": event["text"], **event.get("metadata", {})}, {}
            elif kind == "slot":
                changed[event["name"]] = event["value"]
            elif kind == "bot" and user is not None:
                answer = {**event["metadata"], "reply": event["text"], "heard": user.get("heard", [])}
                one_shot, stamp = bool(user.get("one_shot")), event.get("timestamp")
                turns.append(PastTurn(str(user["text"]), answer, one_shot, stamp))
                slots, user = {**slots, **changed}, None
        except (ValueError, KeyError, TypeError, AttributeError):
            last = at == len(raw.lines) - 1 and not raw.whole
            torn = at + 1 < len(raw.lines) and '"resumed": true' in raw.lines[at + 1][1]
            if not last and not torn:
                problems.append(Problem(str(Place(raw.file, number)), "This line is no event and is left out."))
    return PastSession(raw.name, place, "events", tuple(turns), tuple(knowledge), slots), problems


def slots_of(path: Path) -> dict[str, Any]:
    """The slots of the last finished turn of the last session a log holds, to go on from there.

    Raises:
        JournalError: the file can't be read, or is no log of the advisor's.
    """
    last: RawSession | None = None
    for entry in raw_sessions([str(path)]):
        if isinstance(entry, RawSession):
            last = entry
        elif last is None:
            raise JournalError(str(entry))
    if last is None or last.form != "events":
        raise JournalError(f"{path}: this is no log of a session that can be resumed.")
    return dict(read_session(last)[0].slots or {})


def find_session(files: Sequence[str], name: str) -> PastSession | None:
    """The session of that name (``file#number``) in files, or None."""
    for entry in raw_sessions(file for file in files if Path(file).name == name.rpartition("#")[0]):
        if isinstance(entry, RawSession) and entry.name == name:
            return read_session(entry)[0]
    return None
