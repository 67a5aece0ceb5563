"""A reviewer's verdicts on past sessions, kept beside the log; what they come to; and test cases made from them."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal, get_args

import yaml

from advisor.errors import JournalError
from advisor.review.gist import REASONS
from advisor.review.logs import STDIN, VERDICTS, PastSession
from advisor.review.replay import Replayed
from advisor.yaml_files import Place

Word = Literal["right", "wrong", "incomplete"]
WORDS: tuple[Word, ...] = get_args(Word)


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a reviewer thought of a session. ``stamp``: when, in seconds since 1970. ``knowledge``: its fingerprint."""

    session: str
    verdict: Word
    remark: str
    reviewer: str
    knowledge: str
    stamp: float


def beside(log: str) -> Path:
    """The file that holds the verdicts on a log file's sessions, or on those of a folder."""
    path = Path() if log == STDIN else Path(log)
    return (path if path.is_dir() else path.parent) / VERDICTS


def read_verdicts(path: Path) -> list[Verdict]:
    """The verdicts a file holds, oldest first; none where there is no file.

    Raises:
        JournalError: a line is no verdict, with file and line.
    """
    found = []
    try:
        lines = path.read_text(encoding="utf-8").splitlines() if path.exists() else []
    except (OSError, UnicodeDecodeError) as problem:
        raise JournalError(f"{path}: the verdicts can't be read: {problem}.") from None
    for number, line in enumerate(lines, start=1):
        try:
            verdict = Verdict(**json.loads(line))
        except (ValueError, TypeError):
            raise JournalError(f"{Place(str(path), number)}: This line is no verdict.") from None
        if verdict.verdict not in WORDS:
            raise JournalError(f"{Place(str(path), number)}: A verdict is one of {', '.join(WORDS)}.")
        found.append(verdict)
    return found


def keep(path: Path, verdict: Verdict) -> None:
    """Add a verdict to a file.

    Raises:
        JournalError: it can't be written.
    """
    try:
        with path.open("a", encoding="utf-8") as file:
            file.write(json.dumps(asdict(verdict), ensure_ascii=False) + "\n")
    except OSError as problem:
        raise JournalError(f"{path}: the verdict can't be written: {problem.strerror}.") from None


def reasons(replayed: Replayed) -> tuple[str, ...]:
    """Why a session is worth a reviewer's time, the weightiest first."""
    changed = bool(replayed.changed & {"recommendation", "question", "hearing"})
    found = {"changed"} if changed else set()
    return tuple(reason for reason in REASONS if reason in found | set(replayed.gist.reasons))


def in_order(sessions: Iterable[Replayed]) -> list[Replayed]:
    """The sessions that are worth a review, those with the weightiest reasons first."""
    worth = [one for one in sessions if reasons(one)]
    return sorted(worth, key=lambda one: ([reason not in reasons(one) for reason in REASONS], one.place))


def agreement(verdicts: Sequence[Verdict]) -> list[dict[str, Any]]:
    """What the verdicts come to week by week (ISO weeks, UTC).

    For each week how many of each there are, the share found right, how many were a second opinion on a session, and
    how many of those agreed with the opinion before.
    """
    weeks: dict[str, Counter[str]] = {}
    last: dict[str, Word] = {}
    for verdict in sorted(verdicts, key=lambda one: one.stamp):
        year, week, _ = datetime.fromtimestamp(verdict.stamp, UTC).isocalendar()
        counts = weeks.setdefault(f"{year}-W{week:02}", Counter())
        counts[verdict.verdict] += 1
        if verdict.session in last:
            counts["second"] += 1
            counts["agreed"] += last[verdict.session] == verdict.verdict
        last[verdict.session] = verdict.verdict
    return [
        {
            "week": week,
            "verdicts": sum(counts[word] for word in WORDS),
            **{word: counts[word] for word in WORDS},
            "share_right": counts["right"] / sum(counts[word] for word in WORDS),
            "second_opinions": counts["second"],
            "agreed": counts["agreed"],
        }
        for week, counts in sorted(weeks.items())
    ]


def as_case(session: PastSession, answers: Sequence[Mapping[str, Any]], verdict: Verdict | None) -> str:
    """A session as a test case in YAML: each line, what was heard in it, and what came back.

    What the advisor said stands under ``expect``, to be put right by hand where the verdict is not "right".
    """
    turns = []
    for turn, answer in zip(session.turns, answers, strict=True):
        expect: dict[str, Any] = {"kind": answer["kind"]}
        if answer["question"]:
            expect["asks"] = answer["question"]["fact"]
        if answer["recommended"]:
            lines = answer["recommended"]["lines"]
            expect["set"] = [f"{line['leaf']}: {line['quantity']} {line['item']}" for line in lines]
            if answer["recommended"]["unmet"]:
                expect["unmet"] = answer["recommended"]["unmet"]
        heard = {each["fact"]: each["value"] for each in answer["heard"] if each["opening"] == 1}
        said = {"customer": turn.said} | ({"one_shot": True} if turn.one_shot else {})
        turns.append(said | ({"heard": heard} if heard else {}) | {"expect": expect})
    judged = {"verdict": verdict.verdict, "remark": verdict.remark} if verdict else {}
    case = {"name": session.name, **judged, "turns": turns}
    return yaml.safe_dump(case, sort_keys=False, allow_unicode=True, width=120)
