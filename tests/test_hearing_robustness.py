"""What is heard stays the same under changes that keep the meaning, and changes under those that don't."""

from __future__ import annotations

import random
import re
from collections import Counter

from hearing_changes import keeping
from hearing_score import FILES, facts_of, utterances
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from advisor.knowledge.load import load_facts
from advisor.listening.hearing import Hearing
from advisor.listening.reading import Listener
from advisor.phrasebook.load import load_phrasebook
from advisor.yaml_files import data_folder

KINDS = load_facts(data_folder("knowledge_graph"))
BOOK = load_phrasebook([data_folder("dialogues")], KINDS)
LISTENER = Listener(BOOK, KINDS)
SAID = [each for file in FILES for each in utterances(file, KINDS)]
EXAMPLES = settings(max_examples=900, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))

CHANGES = keeping(BOOK)


def heard(hearing: Hearing) -> tuple[object, ...]:
    """All that matters of a hearing, whatever the places of the words."""
    facts = {key: (each.possible, each.how) for key, each in facts_of(hearing).items()}
    wants = {(want.name, want.about) for want in hearing.wants}
    return facts, wants, {(each.item, each.denied) for each in hearing.mentions}, len(hearing.ambiguous)


def test_changes_that_keep_the_meaning_keep_what_is_heard() -> None:
    tried: Counter[str] = Counter()
    changed: Counter[str] = Counter()
    shown: list[str] = []

    @EXAMPLES
    @given(st.sampled_from(SAID), st.integers(0, 10**6))
    def try_all(utterance: object, seed: int) -> None:
        assert utterance in SAID
        one = SAID[SAID.index(utterance)]
        chance = random.Random(seed)
        before = heard(LISTENER.hear(one.said, one.asked))
        for name, change in CHANGES.items():
            said = change(one.said, chance)
            tried[name] += 1
            if said != one.said and heard(LISTENER.hear(said, one.asked)) != before:
                changed[name] += 1
                shown.append(f"{name}: {one.said!r} -> {said!r} (asked {one.asked})")

    try_all()
    assert sum(tried.values()) >= 8000
    assert sum(changed.values()) / sum(tried.values()) < 0.03, "\n".join([str(changed), *shown])


def negated(said: str, hearing: Hearing, chance: random.Random) -> str | None:
    """The message with "not" before one of the things it states; None where it states none."""
    stated = [
        each
        for each in hearing.heard
        if each.how == "stated" and KINDS[each.fact].kind in ("choice", "yes_no") and each.term and "/" in each.term
        and not each.term.startswith(("marks/", "questions/", "measures/"))
    ]  # fmt: skip
    if not stated:
        return None
    one = chance.choice(stated)
    return f"{said[: one.start]}not {said[one.start :]}"


def renumbered(said: str, hearing: Hearing, chance: random.Random) -> str | None:
    """The message with another number in one of the measures it states; None where it states none."""
    figures = [
        match
        for each in hearing.heard
        if each.how == "stated" and each.possible is not None
        for match in re.finditer(r"(?<![\d/.-])(?:20|45|60|90|3070|6070|3080|36|84|\d{3})(?![\d/'-])", said)
        if each.start <= match.start() < each.end and KINDS[each.fact].kind in ("steps", "quantity")
        and each.fact != "wall_rating_minutes"
    ]  # fmt: skip
    if not figures:
        return None
    one = chance.choice(figures)
    other = {"20": "45", "45": "90", "60": "20", "90": "45", "3070": "2868", "6070": "5068", "3080": "4070", "36": "30",
             "84": "96"}.get(one.group(), str(int(one.group()) + 101))  # fmt: skip
    return said[: one.start()] + other + said[one.end() :]


def test_changes_that_flip_the_meaning_change_what_is_heard() -> None:
    tried, kept = 0, []

    @EXAMPLES
    @given(st.sampled_from(SAID), st.integers(0, 10**6))
    def try_all(utterance: object, seed: int) -> None:
        nonlocal tried
        one = SAID[SAID.index(utterance)]  # type: ignore[arg-type]
        chance = random.Random(seed)
        hearing = LISTENER.hear(one.said, one.asked)
        for change in (negated, renumbered):
            said = change(one.said, hearing, chance)
            if said is None:
                continue
            tried += 1
            if heard(LISTENER.hear(said, one.asked))[0] == heard(hearing)[0]:
                kept.append(f"{one.said!r} -> {said!r} (asked {one.asked})")

    try_all()
    assert tried >= 400
    assert len(kept) / tried <= 0.03, "\n".join(kept)
