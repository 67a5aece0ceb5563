"""What was heard in a message, and the listener that hears it."""

from __future__ import annotations

from collections.abc import Mapping

from advisor.facts import FactKind
from advisor.listening.hearing import Hearing
from advisor.phrasebook.book import Phrasebook

# Longer messages are heard up to here, cut between words; the rest is handed back as not understood. Characters.
LONGEST = 4000


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
