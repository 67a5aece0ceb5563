"""A reviewer's verdicts on past sessions, kept beside the log; what they come to; and test cases made from them."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from heapq import nsmallest
from pathlib import Path
from typing import Any, Literal, get_args

import yaml

from advisor.errors import JournalError
from advisor.knowledge.graph import KnowledgeGraph
from advisor.review.gist import REASONS
from advisor.review.logs import STDIN, VERDICTS, PastSession
from advisor.review.replay import Replayed
from advisor.yaml_files import Place

Word = Literal["right", "wrong", "incomplete"]
MOST = 500
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
    """The sessions most worth a review, those with the weightiest reasons first; no more than `MOST`."""
    worth = (one for one in sessions if reasons(one))
    return nsmallest(MOST, worth, key=lambda one: ([reason not in reasons(one) for reason in REASONS], one.place))


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


def as_case(
    session: PastSession, answers: Sequence[Mapping[str, Any]], verdict: Verdict | None, graph: KnowledgeGraph
) -> str:
    """A session as a test case in the form of the demo sessions.

    What the advisor said stands under each line, to be put right by hand where the verdict is not "right". Turns that
    change nothing (not understood, good-bye) are left out. Verdict and remark stand above as comments.
    """
    turns = [
        {"customer": turn.said} | said
        for turn, answer in zip(session.turns, answers, strict=True)
        if (said := _stated(answer, graph))
    ]
    case = {"title": session.name, "teller": verdict.reviewer if verdict else "", "turns": turns}
    above = [f"# {verdict.verdict}: {verdict.remark}".rstrip(": ")] if verdict else []
    once = [f"# turn {number}: one_shot" for number, turn in enumerate(session.turns, start=1) if turn.one_shot]
    return "\n".join([*above, *once, yaml.safe_dump(case, sort_keys=False, allow_unicode=True, width=120)])


def _stated(answer: Mapping[str, Any], graph: KnowledgeGraph) -> dict[str, Any]:
    """What a demo session states of an answer; nothing for kinds it can't state."""
    if answer["kind"] == "question":
        return {"counter": answer["question"]["text"]}
    if answer["kind"] in ("answer", "refusal"):
        return {f"{answer['kind']}_includes": [answer["reply"].split("\n", 1)[0]]}
    if answer["kind"] != "recommendation":
        return {}
    found, reply = answer["recommended"], answer["reply"]
    latching = [name for name, part in sorted(graph.arrangements.items()) if f": {part.title}. {part.because}" in reply]
    lines = [f"{line['leaf']} {line['quantity']} {line['item']}" for line in found["lines"]]
    conditional = [
        f"{shown}: {line['only_if']}" for shown, line in zip(lines, found["lines"], strict=True) if line["only_if"]
    ]
    parts = {"only_if": conditional, "unmet": list(found["unmet"])}
    return {
        "set": {
            "latching": latching[0] if len(latching) == 1 else latching,
            "lines": lines,
            **{key: entries for key, entries in parts.items() if entries},
        }
    }
