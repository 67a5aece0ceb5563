"""Mechanical changes to utterances that keep their meaning."""

from __future__ import annotations

import random
import re
from collections.abc import Callable

from advisor.phrasebook.book import Phrasebook

_ENDS = (".", "...", " .", "!")
_FILLERS = ("um, {}", "ok so {}", "{} please", "{} thanks", "hi, {}")
Change = Callable[[str, random.Random], str]


def keeping(book: Phrasebook) -> dict[str, Change]:
    """Ten changes by name, each made with a source of chance; a message it can't be made in comes back as it is."""
    # Words of which a typo is made: long enough for the mistake to be seen, and of the trade.
    terms = (
        {
            word
            for term in book.terms.values()
            if term.says or term.mentions
            for phrase in term.phrases
            for word in phrase.split()
            if len(word) >= 6 and word.isalpha()
        }
        - book.words["filler"]
        - book.words["english"]
    )
    return {
        "small letters": lambda said, chance: said if re.search(r"[A-Z]{2}", said) else said.lower(),
        "a capital first": lambda said, chance: said[:1].upper() + said[1:],
        "wider gaps": lambda said, chance: said.replace(" ", "  "),
        "space around": lambda said, chance: f"  {said} ",
        "a full stop": lambda said, chance: said + chance.choice(_ENDS) if said[-1].isalnum() else said,
        "gaps at commas": lambda said, chance: said.replace(", ", chance.choice([" , ", ",", ",  "])),
        "another unit": _units,
        "letters swapped": lambda said, chance: _swapped(said, chance, terms),
        "a letter left out": lambda said, chance: _dropped(said, chance, terms),
        "filler": lambda said, chance: chance.choice(_FILLERS).format(said),
    }  # fmt: skip


def _swapped(said: str, chance: random.Random, terms: set[str]) -> str:
    """One pair of inner letters swapped in one word of the trade, if there is one."""
    words = [match for match in re.finditer(r"[a-z]+", said) if match.group() in terms]
    if not words:
        return said
    word = chance.choice(words)
    swaps = [at for at in range(word.start() + 1, word.end() - 2) if said[at] != said[at + 1]]
    at = chance.choice(swaps)
    return said[:at] + said[at + 1] + said[at] + said[at + 2 :]


def _dropped(said: str, chance: random.Random, terms: set[str]) -> str:
    """One inner letter left out of one word of the trade, if there is one."""
    words = [match for match in re.finditer(r"[a-z]+", said) if match.group() in terms]
    if not words:
        return said
    word = chance.choice(words)
    at = chance.randrange(word.start() + 1, word.end() - 1)
    return said[:at] + said[at + 1 :]


def _units(said: str, chance: random.Random) -> str:
    """Minutes, hours, inches and people by another of their names."""
    said = re.sub(
        r"(?<=\d)[ -](?:minutes?|min)\b", chance.choice([" minutes", " min", " mins", "-minute", "min"]), said
    )
    said = re.sub(r"(?<=[a-z])[ -](?:hours|hour|hr)\b", chance.choice([" hour", " hr", " hours"]), said)
    said = re.sub(r"(?<=\d) (?:inches|inch)\b", chance.choice([" in", " inch", '"']), said)
    return re.sub(r"(?<=\d) people\b", chance.choice([" persons", " occupants", " people"]), said)
