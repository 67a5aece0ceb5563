"""Generated sessions: openings put together from parts, each with the facts that are known to be in it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from itertools import count
from pathlib import Path
from typing import Any

from advisor.conversation.counter import Counter
from advisor.conversation.journal import Journal
from advisor.conversation.mind import Mind, load

# words and what they say; the words of one list never say anything of another's
LEAVES = (("a single door", "single"), ("a pair of doors", "pair"), ("single door", "single"))
MATERIALS = (("hollow metal", "hollow_metal"), ("aluminum", "aluminum"), ("fiberglass", "fiberglass"))
RATINGS = (("not fire rated", "0"), ("20 minutes", "20"), ("90 minutes", "90"), ("three hours", "180"))
PLACES = (("exterior", "yes"), ("interior", "no"), ("interior", "no"))
SIZES = ("3070", "36x84", "3-0 x 7-0", "4080", "2868", "30 x 80")
ROOMS = ("office", "storage room", "classroom", "kitchen", "corridor", "gym")
LATER = ("don't know", "why?", "20 people", "medium traffic", "what do you have so far", "left hand", "undo", "zzyzx")


@dataclass(frozen=True)
class Opening:
    """A generated session's lines and the facts that matter for the checks."""

    lines: tuple[str, ...]
    one_shot: bool
    leaves: str
    exterior: str


def openings(number: int) -> Iterator[Opening]:
    """So many openings, always the same ones, no two alike within any stretch of a few hundred."""
    for at in range(number):
        leaves, material = LEAVES[at % 3], MATERIALS[at // 3 % 3]
        rating, place = RATINGS[at // 9 % 4], PLACES[at // 36 % 3]
        size, room = SIZES[at // 9 % 6], ROOMS[at // 72 % 6]
        where = f"{place[0]} {room}" if place[1] == "no" else "exterior"
        first = f"{leaves[0]}, {material[0]}, {rating[0]}, {size}, {where}"
        later = (LATER[at // 5 % len(LATER)],) if at % 5 == 0 else ()
        yield Opening((first, *later), at % 40 == 39, leaves[1], place[1])


@cache
def mind() -> Mind:
    built = load()
    built.warm_up()
    return built


def write_logs(folder: str, number: int, per_file: int) -> None:
    """Log so many openings, so many to a file; the clock ticks a second a turn.

    The same words give the same events but for the time, so that an opening that comes again is written down again.
    """
    ticks = count(1_790_000_000)
    known: dict[Opening, list[list[dict[str, Any]]]] = {}
    for at, opening in enumerate(openings(number)):
        path = Path(folder) / f"{at // per_file:05}.jsonl"
        journal = Journal(path, lambda: float(next(ticks)), mind().graph.fingerprint)
        if opening not in known:
            known[opening] = []
            counter = Counter(mind(), known[opening].append)
            for line in opening.lines:
                counter.say(line, opening.one_shot)
            counter.close()
        for events in known[opening]:
            journal.append(events)
        journal.close()


def multiplied(source: Path, target: Path, times: int) -> None:
    """A corpus that holds every session of another so many times, in files of the same size."""
    for number in range(times):
        for path in sorted(source.glob("*.jsonl")):
            (target / f"{number:03}_{path.name}").write_bytes(path.read_bytes())


def asked_of(path: Path) -> list[str]:
    """The customer's lines in a log."""
    events = [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]
    return [event["text"] for event in events if event["event"] == "user"]
