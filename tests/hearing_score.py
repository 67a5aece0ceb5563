"""Scores of hearing against utterances with what must be heard in them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

from advisor import yaml_files
from advisor.facts import Between, FactKind, Heard, OneOf, Possible
from advisor.listening.hearing import Hearing
from advisor.listening.reading import Listener

CORPUS = Path(__file__).with_name("corpus")
FILES = ("tuned_on.yaml", "kept_aside.yaml", "kept_aside_2.yaml", "kept_aside_3.yaml")
CRITICAL = ("leaves", "fire_rating_minutes", "door_material", "egress", "occupancy", "occupant_load")


@dataclass(frozen=True)
class Expected:
    """What must be heard of one fact: what is left possible (None for "don't know") and whether it is unsure."""

    possible: Possible | None
    unsure: bool


@dataclass(frozen=True)
class Utterance:
    """A message with what must be heard in it; facts are named by opening and name."""

    voice: str
    said: str
    asked: str | None
    facts: Mapping[tuple[int, str], Expected]
    wants: tuple[str, ...]
    mentions: tuple[str, ...]


@dataclass
class Score:
    """Counts over utterances; the lists name what went wrong."""

    facts_expected: int = 0
    facts_heard: int = 0
    facts_right: int = 0
    wants_expected: int = 0
    wants_right: int = 0
    mentions_expected: int = 0
    mentions_right: int = 0
    dangerous: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    missed: list[str] = field(default_factory=list)
    wants_missed: list[str] = field(default_factory=list)

    @property
    def precision(self) -> float:
        """The share of facts heard that are right."""
        return self.facts_right / self.facts_heard

    @property
    def recall(self) -> float:
        """The share of facts said that are heard right."""
        return self.facts_right / self.facts_expected

    @property
    def wants(self) -> float:
        """The share of wants heard."""
        return self.wants_right / self.wants_expected

    @property
    def mentions(self) -> float:
        """The share of items heard."""
        return self.mentions_right / self.mentions_expected


def utterances(file: str, kinds: Mapping[str, FactKind]) -> list[Utterance]:
    """The utterances of a file of the corpus."""
    found = []
    for voice, entries in yaml_files.read(CORPUS / file).items():
        for entry in entries:
            facts = {}
            for name, value in entry["facts"].items():
                opening, _, fact = name.rpartition(":")
                facts[int(opening or 1), fact] = expected(kinds[fact], value)
            wants, mentions = tuple(entry.get("wants", ())), tuple(entry.get("mentions", ()))
            found.append(Utterance(voice, entry["said"], entry.get("asked"), facts, wants, mentions))
    return found


def expected(kind: FactKind, value: str) -> Expected:
    """A value as the corpus writes it: ``90``, ``45|60``, ``51..``, ``90?``, ``?`` for "don't know"."""
    unsure, text = value.endswith("?"), value.rstrip("?")
    if not text:
        return Expected(None, True)
    if kind.kind == "quantity":
        low, dots, high = text.partition("..")
        ends = [None if end == "" else Fraction(end) for end in ((low, high) if dots else (low, low))]
        return Expected(Between(*ends), unsure)
    return Expected(OneOf(frozenset(low for one in text.split("|") for low in kind.finest(one))), unsure)


def facts_of(hearing: Hearing) -> dict[tuple[int, str], Heard]:
    """Every fact heard, by opening and name; of several the first that is not merely implied."""
    facts: dict[tuple[int, str], Heard] = {}
    for heard in sorted(hearing.heard, key=lambda one: one.how == "implied"):
        facts.setdefault((heard.opening, heard.fact), heard)
    return facts


def is_right(heard: Heard, wanted: Expected) -> bool:
    """Whether a fact was heard as said, and as surely."""
    return heard.possible == wanted.possible and (heard.how == "unsure") == wanted.unsure


def excludes(heard: Heard, wanted: Expected | None) -> bool:
    """Whether a fact heard with confidence rules out what was said, or was not said at all."""
    if heard.how in ("unsure", "implied") or heard.possible is None:
        return False
    if wanted is None or wanted.possible is None:
        return True
    if isinstance(heard.possible, OneOf) and isinstance(wanted.possible, OneOf):
        return not wanted.possible.values <= heard.possible.values
    assert isinstance(heard.possible, Between)
    assert isinstance(wanted.possible, Between)
    low, high = heard.possible.at_least, heard.possible.at_most
    low_ok = low is None or (wanted.possible.at_least is not None and low <= wanted.possible.at_least)
    high_ok = high is None or (wanted.possible.at_most is not None and high >= wanted.possible.at_most)
    return not (low_ok and high_ok)


def dangers(utterance: Utterance, hearing: Hearing) -> Iterator[str]:
    """The safety-critical facts heard wrong with confidence."""
    for (opening, fact), heard in facts_of(hearing).items():
        if fact in CRITICAL and excludes(heard, utterance.facts.get((opening, fact))):
            yield f"{utterance.said!r} (asked {utterance.asked}): {fact} = {heard.possible}"


def score(listener: Listener, said: list[Utterance]) -> Score:
    """The score of a listener over utterances. A fact merely implied counts only where the utterance lists it."""
    total = Score()
    for utterance in said:
        hearing = listener.hear(utterance.said, utterance.asked)
        facts = facts_of(hearing)
        counted = {key for key, heard in facts.items() if heard.how != "implied" or key in utterance.facts}
        right = {key for key in counted & utterance.facts.keys() if is_right(facts[key], utterance.facts[key])}
        total.facts_expected += len(utterance.facts)
        total.facts_heard += len(counted)
        total.facts_right += len(right)
        total.dangerous += dangers(utterance, hearing)
        where = f"{utterance.said!r} (asked {utterance.asked})"
        total.wrong += [f"{where}: {key} {facts[key].how} {facts[key].possible}" for key in sorted(counted - right)]
        total.missed += [f"{where}: {key} {utterance.facts[key]}" for key in sorted(utterance.facts.keys() - counted)]
        wants, items = {want.name for want in hearing.wants}, {mention.item for mention in hearing.mentions}
        total.wants_expected += len(utterance.wants)
        total.wants_right += len(wants & set(utterance.wants))
        total.wants_missed += [f"{where}: {name}" for name in utterance.wants if name not in wants]
        total.mentions_expected += len(utterance.mentions)
        total.mentions_right += len(items & set(utterance.mentions))
        total.wants_missed += [f"{where}: item {name}" for name in utterance.mentions if name not in items]
    return total
