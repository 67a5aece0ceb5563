"""What there is to count in a session: what was asked for, what it rests on, what was not understood or not known."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from advisor.knowledge.graph import KnowledgeGraph
from advisor.review.logs import PastSession

BASES = ("code", "listing", "good_practice", "common_practice", "from_memory")
LONG = 8

# Why a session is worth a reviewer's time, the weightiest first.
REASONS = ("changed", "refused", "unsure", "not_understood", "from_memory", "long")


@dataclass(frozen=True, slots=True)
class Gist:
    """One session's counts.

    Attributes:
        wanted: the facts that say what it was about, as ``fact: value``.
        rules, items: those of its sets.
        bases: for each line of its last set, what the strongest rule behind it rests on (see `BASES`).
        kinds: the kind of each answer.
        questions: the facts asked for, in order.
        words: what was not understood.
        unknown: the facts the customer didn't know.
        reasons: why it is worth a review, but for "changed".
    """

    wanted: tuple[str, ...]
    rules: tuple[str, ...]
    items: tuple[str, ...]
    bases: tuple[str, ...]
    kinds: tuple[str, ...]
    questions: tuple[str, ...]
    words: tuple[str, ...]
    unknown: tuple[str, ...]
    reasons: tuple[str, ...]


_WANTED = ("leaves", "door_material", "fire_rating_minutes", "room_use", "occupancy")


def gist_of(
    session: PastSession, answers: Sequence[Mapping[str, Any]], slots: Mapping[str, Any], graph: KnowledgeGraph
) -> Gist:
    """The counts of a session: from the answers on record, where there are any, and else from today's."""
    given = [turn.answer or answer for turn, answer in zip(session.turns, answers, strict=True)]
    sets = [answer["recommended"] for answer in given if answer["recommended"]]
    lines = [line for found in sets for line in found["lines"]]
    facts = answers[-1]["facts"]
    kinds = tuple(answer["kind"] for answer in given)
    unknown = tuple(
        name.removeprefix("fact_")
        for name, entry in sorted(slots.items())
        if name.startswith("fact_") and entry and entry["closed"]
    )
    bases = tuple(basis_of(line["because"], graph) for line in (sets[-1]["lines"] if sets else ()))
    words = tuple(word for answer in given for word in answer["not_understood"])
    unsure = unknown or any(each["how"] == "unsure" for answer in given for each in answer["heard"])
    reasons = {
        "refused": "refusal" in kinds,
        "unsure": bool(unsure) and bool(sets),
        "not_understood": "not_understood" in kinds or bool(words),
        "from_memory": "from_memory" in bases,
        "long": len(kinds) > LONG,
    }
    return Gist(
        wanted=tuple(f"{name}: {facts[name]}" for name in _WANTED if isinstance(facts.get(name), str | int)),
        rules=tuple(sorted({rule for line in lines for rule in line["because"]})),
        items=tuple(sorted({line["item"] for line in lines})),
        bases=bases,
        kinds=kinds,
        questions=tuple(answer["question"]["fact"] or "" for answer in given if answer["question"]),
        words=words,
        unknown=unknown,
        reasons=tuple(reason for reason in REASONS if reasons.get(reason)),
    )


def basis_of(rules: Sequence[str], graph: KnowledgeGraph) -> str:
    """What the strongest of some rules rests on; ``good_practice`` where there is none: the trade's way of latching."""
    found = [graph.rules[name] for name in rules if name in graph.rules]
    bases = [rule.strength if rule.source.basis == "cited" else rule.source.basis for rule in found]
    return min(bases, key=BASES.index, default="good_practice")
