"""What was heard in a message, and the listener that hears it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from advisor.facts import FactKind, Heard
from advisor.phrasebook.book import Phrasebook

# Longer messages are heard up to here, cut between words; the rest is handed back as not understood. Characters.
LONGEST = 4000


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


class Listener:
    """Hears opening details in counter language.

    >>> from advisor.knowledge.load import load_facts
    >>> from advisor.phrasebook.load import load_phrasebook
    >>> from advisor.yaml_files import data_folder
    >>> kinds = load_facts(data_folder("knowledge_graph"))
    >>> listener = Listener(load_phrasebook([data_folder("dialogues")], kinds), kinds)
    >>> [(heard.fact, heard.text) for heard in listener.hear("hm pair, not rated").heard]
    [('door_material', 'hm'), ('leaves', 'pair'), ('fire_rating_minutes', 'not rated')]
    """

    def __init__(self, book: Phrasebook, kinds: Mapping[str, FactKind]) -> None:
        # spaCy is slow to import; nothing before the first listener needs it.
        from advisor.listening.pipeline import Pipeline

        self._pipeline = Pipeline(book, kinds)

    def hear(self, text: str, asked: str | None = None, units: str | None = None) -> Hearing:
        """What a message says.

        Args:
            text: the message, as typed.
            asked: the fact just asked about, so that "yes", "the second" or a bare number answers it.
            units: the unit of lengths said without one; inches if None.
        """
        cut = len(text)
        if cut > LONGEST:
            cut = max(text.rfind(" ", 0, LONGEST), text.rfind("\n", 0, LONGEST))
            cut = LONGEST if cut <= 0 else cut
        hearing = self._pipeline.hear(text[:cut], asked, units)
        rest = text[cut:].strip()
        if not rest:
            return hearing
        return Hearing(
            hearing.heard, hearing.wants, hearing.mentions, hearing.ambiguous, (*hearing.not_understood, rest)
        )
