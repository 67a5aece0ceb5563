"""Everything a turn needs, built once: the graph, what judges and chooses over it, the phrasebook and the listener."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from advisor.asking.plan import Planner
from advisor.knowledge.graph import KnowledgeGraph
from advisor.knowledge.load import load_knowledge
from advisor.listening.reading import Listener
from advisor.phrasebook.book import Phrasebook
from advisor.phrasebook.load import load_phrasebook
from advisor.reasoning.choose import Chooser
from advisor.reasoning.infer import Judge
from advisor.reasoning.recommend import Recommender
from advisor.yaml_files import data_folder


@dataclass(frozen=True)
class Mind:
    """The advisor's knowledge and words, ready to use.

    Attributes:
        graph: the knowledge graph.
        book: the phrasebook.
    """

    graph: KnowledgeGraph
    book: Phrasebook

    @cached_property
    def listener(self) -> Listener:
        """Hears a message."""
        return Listener(self.book, self.graph.kinds)

    @cached_property
    def judge(self) -> Judge:
        """Judges what follows."""
        return Judge(self.graph)

    @cached_property
    def chooser(self) -> Chooser:
        """Chooses sets."""
        return Chooser(self.judge)

    @cached_property
    def planner(self) -> Planner:
        """Chooses questions."""
        return Planner(self.chooser)

    @cached_property
    def recommender(self) -> Recommender:
        """Builds recommended sets."""
        return Recommender(self.chooser)

    def warm_up(self) -> None:
        """Build everything a turn needs, so that the first turn is as fast as the others."""
        _ = (self.listener, self.planner, self.recommender)


def build(knowledge: Path | None = None, dialogues: Path | None = None) -> Mind:
    """The mind of a knowledge folder and a dialogues folder, by default the built-in ones.

    Raises:
        KnowledgeError: a knowledge file is wrong.
        PhrasebookError: a dialogue file is wrong.
    """
    graph = load_knowledge(knowledge or data_folder("knowledge_graph"))
    return Mind(graph, load_phrasebook([dialogues or data_folder("dialogues")], graph.kinds))
