"""Past sessions said again to today's advisor. A worker builds its minds once and gets sessions in batches."""

from __future__ import annotations

import gc
import os
import time
from collections.abc import Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

from advisor.conversation.counter import Counter
from advisor.conversation.mind import Mind, build
from advisor.conversation.privacy import Masker, masker_of
from advisor.errors import AdvisorError
from advisor.review.blame import Edits, SetChange, edits, set_change
from advisor.review.compare import CHANGES, Answer, Difference, compare
from advisor.review.gist import Gist, gist_of
from advisor.review.logs import PastSession, Problem, RawSession, read_session

Folders = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Settings:
    """What a replay runs with: folders laid over the built-in ones, and the knowledge to hold it against, if any.

    ``keep_answers``: today's answers come back too, which takes memory.
    """

    knowledge: Folders = ()
    dialogues: Folders = ()
    against: Folders | None = None
    keep_answers: bool = False


@dataclass(frozen=True, slots=True)
class Replayed:
    """One session said again.

    Attributes:
        stamp: when it began, in seconds since 1970, where that is on record.
        answers: today's answers, where they are kept.
        comparable: how many turns have an answer on record to compare with.
        other_knowledge: the session was advised with another state of the knowledge.
        set_change: how its set would change under the knowledge it is held against; None where it wouldn't.
        seconds: each turn's processor time.
        gist: what there is to count in it, from the answers of today.
    """

    name: str
    place: str
    turns: int
    stamp: float | None
    answers: tuple[Answer, ...]
    comparable: int
    differences: tuple[Difference, ...]
    other_knowledge: bool
    set_change: SetChange | None
    seconds: tuple[float, ...]
    gist: Gist

    @property
    def changed(self) -> frozenset[str]:
        """Everything that changed anywhere in it."""
        return frozenset(kind for one in self.differences for kind in one.kinds)

    def as_json(self) -> dict[str, Any]:
        """The session as data, with what differs."""
        return {
            "session": self.name,
            "place": self.place,
            "turns": self.turns,
            "changed": [kind for kind in CHANGES if kind in self.changed],
            "other_knowledge": self.other_knowledge,
            "differences": [one.as_json() for one in self.differences],
            "against": self.set_change and self.set_change.as_json(),
        }


@dataclass(frozen=True, slots=True)
class Batch:
    """What became of some sessions.

    Attributes:
        size: the bytes of log they took.
        seconds: the processor time it took the worker, whose process id ``worker`` is.
        refused: why nothing could be replayed at all, otherwise empty.
    """

    replayed: tuple[Replayed, ...]
    problems: tuple[Problem, ...]
    size: int
    seconds: float
    worker: int = 0
    refused: str = ""


@cache
def mind_of(knowledge: Folders, dialogues: Folders) -> Mind:
    """The mind of these folders, built once in a process.

    Raises:
        AdvisorError: a file is wrong.
    """
    mind = build([Path(folder) for folder in knowledge], [Path(folder) for folder in dialogues])
    mind.warm_up()
    gc.collect()
    gc.freeze()
    return mind


def fingerprint_of(knowledge: Folders) -> str:
    """The fingerprint of the knowledge these folders give."""
    return mind_of(knowledge, ()).graph.fingerprint


@cache
def _masker(dialogues: Folders, knowledge: Folders) -> Masker:
    return masker_of(mind_of(knowledge, dialogues).book)


@cache
def _edits(settings: Settings) -> Edits:
    assert settings.against is not None
    before, now = (mind_of(folders, settings.dialogues) for folders in (settings.knowledge, settings.against))
    return edits(before.graph, now.graph)


def replay_batch(raws: tuple[RawSession, ...], settings: Settings) -> Batch:
    """Some sessions replayed; a worker's whole task. Nothing is raised for what the sessions hold."""
    try:
        mind_of(settings.knowledge, settings.dialogues)
        if settings.against is not None:
            mind_of(settings.against, settings.dialogues)
    except AdvisorError as problem:
        return Batch((), (), 0, 0.0, refused=str(problem))
    start = time.process_time()
    replayed, problems = [], []
    for raw in raws:
        session, found = read_session(raw)
        problems += found
        if session.turns:
            replayed.append(replay(session, settings))
    size, seconds = sum(raw.size for raw in raws), time.process_time() - start
    return Batch(tuple(replayed), tuple(problems), size, seconds, os.getpid())


def masked(session: PastSession, settings: Settings) -> PastSession:
    """The session with what it says of people masked; the advisor's own log stays as it was heard then."""
    if session.form == "events":
        return session
    masker = _masker(settings.dialogues, settings.knowledge)
    turns = tuple(replace(turn, said=masker.mask(turn.said).text) for turn in session.turns)
    return replace(session, turns=turns)


def replay(session: PastSession, settings: Settings) -> Replayed:
    """One session said again, line by line.

    Other people's logs are masked first. In the advisor's own, lines stand as they were heard then.
    """
    mind = mind_of(settings.knowledge, settings.dialogues)
    session = masked(session, settings)
    answers, seconds, differences = [], [], []
    strayed = False
    slots: dict[str, Any] = {}
    with closing(Counter(mind, lambda events: slots.update(_slots(events)))) as counter:
        for number, turn in enumerate(session.turns, start=1):
            start = time.process_time()
            answer = counter.say(turn.said, turn.one_shot)["turn"]
            seconds.append(time.process_time() - start)
            answers.append(answer)
            found = compare(number, turn.said, turn.answer, answer, strayed) if turn.answer else None
            if found:
                differences.append(found)
                strayed = strayed or bool({"question", "hearing"} & set(found.kinds))
    against = None
    if settings.against is not None:
        other = mind_of(settings.against, settings.dialogues)
        against = set_change(mind, other, slots, _edits(settings))
    return Replayed(
        name=session.name,
        place=session.place,
        turns=len(session.turns),
        stamp=session.turns[0].stamp,
        answers=tuple(answers) if settings.keep_answers else (),
        comparable=sum(turn.answer is not None for turn in session.turns),
        differences=tuple(differences),
        other_knowledge=any(known != mind.graph.fingerprint for known in session.knowledge),
        set_change=against,
        seconds=tuple(seconds),
        gist=gist_of(session, answers, slots, mind.graph),
    )


def _slots(events: list[dict[str, Any]]) -> Iterator[tuple[str, Any]]:
    return ((event["name"], event["value"]) for event in events if event["event"] == "slot")


def shown_line(line: Mapping[str, Any] | None) -> str:
    """A line of a set in one line of text: quantity, item, leaf, then what else is given."""
    if line is None:
        return ""
    more = [str(line[key]) for key in ("type", "size", "hand", "finish", "only_if") if line.get(key)]
    return " | ".join([f"{line['quantity']} {line['item']} ({line['leaf']})", *more])
