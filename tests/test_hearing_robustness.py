"""What is heard stays the same under changes that keep the meaning, and changes under those that don't."""

from __future__ import annotations

import random
import re
from collections import Counter
from collections.abc import Callable

from hearing_score import facts_of, utterances
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from advisor.knowledge.load import load_facts
from advisor.listening.reading import Hearing, Listener
from advisor.phrasebook.load import load_phrasebook
from advisor.yaml_files import data_folder

KINDS = load_facts(data_folder("knowledge_graph"))
BOOK = load_phrasebook([data_folder("dialogues")], KINDS)
LISTENER = Listener(BOOK, KINDS)
SAID = [each for file in ("tuned_on.yaml", "kept_aside.yaml") for each in utterances(file, KINDS)]
EXAMPLES = settings(max_examples=500, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))

# Words of which a typo is made: long enough for the mistake to be seen, and of the trade.
TERMS = {
    word
    for term in BOOK.terms.values()
    if term.says or term.mentions
    for phrase in term.phrases
    for word in phrase.split()
    if len(word) >= 6 and word.isalpha()
} - BOOK.words["filler"] - BOOK.words["english"]


def heard(hearing: Hearing) -> tuple[object, ...]:
    """All that matters of a hearing, whatever the places of the words."""
    facts = {key: (each.possible, each.how) for key, each in facts_of(hearing).items()}
    wants = {(want.name, want.about) for want in hearing.wants}
    return facts, wants, {(each.item, each.denied) for each in hearing.mentions}, len(hearing.ambiguous)


def typo(said: str, chance: random.Random) -> str:
    """One pair of inner letters swapped in one word of the trade, if there is one."""
    words = [match for match in re.finditer(r"[a-z]+", said) if match.group() in TERMS]
    if not words:
        return said
    word = chance.choice(words)
    swaps = [at for at in range(word.start() + 1, word.end() - 2) if said[at] != said[at + 1]]
    at = chance.choice(swaps)
    return said[:at] + said[at + 1] + said[at] + said[at + 2 :]


def dropped_letter(said: str, chance: random.Random) -> str:
    """One inner letter left out of one word of the trade, if there is one."""
    words = [match for match in re.finditer(r"[a-z]+", said) if match.group() in TERMS]
    if not words:
        return said
    word = chance.choice(words)
    at = chance.randrange(word.start() + 1, word.end() - 1)
    return said[:at] + said[at + 1 :]


def units(said: str, chance: random.Random) -> str:
    """Minutes, hours, inches and people by another of their names."""
    said = re.sub(r"(?<=\d)[ -](?:minutes?|min)\b", chance.choice([" minutes", " min", " mins", "-minute", "min"]), said)
    said = re.sub(r"(?<=[a-z])[ -](?:hours|hour|hr)\b", chance.choice([" hour", " hr", " hours"]), said)
    said = re.sub(r"(?<=\d) (?:inches|inch)\b", chance.choice([" in", " inch", '"']), said)
    return re.sub(r"(?<=\d) people\b", chance.choice([" persons", " occupants", " people"]), said)


KEEPING: dict[str, Callable[[str, random.Random], str]] = {
    "small letters": lambda said, chance: said.lower() if not re.search(r"[A-Z]{2}", said) else said,
    "a capital first": lambda said, chance: said[:1].upper() + said[1:],
    "wider gaps": lambda said, chance: said.replace(" ", "  "),
    "space around": lambda said, chance: f"  {said} ",
    "a full stop": lambda said, chance: said if said[-1] in "?.!" else said + chance.choice([".", "...", " .", "!"]),
    "gaps before commas": lambda said, chance: said.replace(", ", chance.choice([" , ", ",", ",  "])),
    "another unit": units,
    "letters swapped": typo,
    "a letter left out": dropped_letter,
    "filler": lambda said, chance: chance.choice(["um, {}", "ok so {}", "{} please", "{} thanks", "hi, {}"]).format(said),
}  # fmt: skip


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
        for name, change in KEEPING.items():
            said = change(one.said, chance)
            tried[name] += 1
            if said != one.said and heard(LISTENER.hear(said, one.asked)) != before:
                changed[name] += 1
                shown.append(f"{name}: {one.said!r} -> {said!r} (asked {one.asked})")

    try_all()
    assert sum(tried.values()) >= 4000
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
