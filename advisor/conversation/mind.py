"""Everything a turn needs, built once: the graph, what judges and chooses over it, the phrasebook and the listener."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from advisor.asking.plan import Planner
from advisor.conversation.naming import Names
from advisor.knowledge.care import Care, load_care
from advisor.knowledge.graph import KnowledgeGraph
from advisor.knowledge.load import load_knowledge, stands_alone
from advisor.knowledge.lookups import Lookups, load_lookups
from advisor.listening.reading import Listener
from advisor.phrasebook.book import Phrasebook
from advisor.phrasebook.load import load_phrasebook
from advisor.reasoning.choose import Chooser
from advisor.reasoning.conflicts import find_conflicts
from advisor.reasoning.infer import Judge
from advisor.reasoning.recommend import Recommender
from advisor.yaml_files import data_folder


@dataclass(frozen=True)
class Mind:
    """The advisor's knowledge and words, ready to use.

    Attributes:
        graph: the knowledge graph.
        book: the phrasebook.
        folders: the knowledge folders the graph was read from.
    """

    graph: KnowledgeGraph
    book: Phrasebook
    folders: tuple[Path, ...] = ()

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

    @cached_property
    def lookups(self) -> Lookups:
        """What is looked up; read when it is first asked for.

        Raises:
            KnowledgeError: a file is wrong.
        """
        return load_lookups(self.graph, *self.folders)

    @cached_property
    def care(self) -> Care:
        """What is known of doors that hang; read when it is first asked for.

        Raises:
            KnowledgeError: a file is wrong.
        """
        return load_care(self.graph, *self.folders)

    @cached_property
    def names(self) -> Names:
        """Finds what a question names."""
        return Names(self.lookups, self.book.wording["lookup_function_words"].split())

    def warm_up(self) -> None:
        """Build everything a turn needs, so that the first turn is as fast as the others."""
        _ = (self.listener, self.planner, self.recommender)


def load(knowledge: Sequence[Path] = (), dialogues: Sequence[Path] = (), with_cases: bool = False) -> Mind:
    """The mind of the built-in knowledge and words with other folders laid over them, in order.

    A first knowledge folder that stands alone (it has its own facts, requirements and sources) takes the place of the
    built-in one; likewise a first dialogues folder with its own measures.

    Raises:
        KnowledgeError: a knowledge file is wrong.
        PhrasebookError: a dialogue file is wrong.
    """
    base = () if knowledge and stands_alone(knowledge[0]) else (data_folder("knowledge_graph"),)
    words = () if dialogues and (dialogues[0] / "measures.yaml").is_file() else (data_folder("dialogues"),)
    graph = load_knowledge(*base, *knowledge, with_cases=with_cases)
    return Mind(graph, load_phrasebook([*words, *dialogues], graph.kinds), (*base, *knowledge))


def build(knowledge: Sequence[Path] = (), dialogues: Sequence[Path] = ()) -> Mind:
    """The mind of these folders, as `load` makes it, in which no two rules disagree.

    Raises:
        KnowledgeError: a knowledge file is wrong.
        PhrasebookError: a dialogue file is wrong.
        RuleConflict: two rules disagree for some facts.
    """
    mind = load(knowledge, dialogues)
    for conflict in find_conflicts(mind.judge):
        raise conflict
    return mind
