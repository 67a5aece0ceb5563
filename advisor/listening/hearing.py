"""What was heard in a message."""

from __future__ import annotations

from dataclasses import dataclass

from advisor.facts import Heard


@dataclass(frozen=True, slots=True)
class Want:
    """What the customer wants besides stating facts; ``about`` is the item, fact or thing named, if any."""

    name: str
    text: str
    start: int
    end: int
    about: str | None = None


@dataclass(frozen=True, slots=True)
class Mention:
    """A hardware item named, by its role name; ``denied`` where the customer says there is or shall be none."""

    item: str
    text: str
    start: int
    end: int
    denied: bool = False


@dataclass(frozen=True, slots=True)
class Ambiguity:
    """Words that can mean several things and are asked about; ``readings`` are keys of the phrasebook's wording."""

    text: str
    start: int
    end: int
    readings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Hearing:
    """Everything heard in one message, each kind in the order it was said.

    What was not understood is in the customer's own words.
    """

    heard: tuple[Heard, ...]
    wants: tuple[Want, ...]
    mentions: tuple[Mention, ...]
    ambiguous: tuple[Ambiguity, ...]
    not_understood: tuple[str, ...]
