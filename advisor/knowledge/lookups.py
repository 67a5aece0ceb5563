"""What a counter looks up, read from ``lookups/`` of the knowledge folders, or refused with file and line."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, get_args

from advisor.errors import KnowledgeError
from advisor.knowledge.entry import check_known, one_of, sentence
from advisor.knowledge.graph import KnowledgeGraph
from advisor.knowledge.load import Layer, laid, source_of
from advisor.knowledge.parts import Source
from advisor.yaml_files import Mapping as YamlMapping
from advisor.yaml_files import Place, check_keys, texts

Certainty = Literal["two_sources", "verified", "memory", "low"]
Likeness = Literal["other_base", "near", "color_only", "set_with"]
Lock = Literal["bored", "mortise", "exit_device", "deadbolt"]
Side = Literal["left", "right"]
Swing = Literal["away", "toward"]
GROUNDS = ("source", "certainty")


@dataclass(frozen=True, slots=True)
class Grounds:
    """Where an entry rests and how sure it is: ``memory`` and ``low`` (not confirmed) say so wherever they are told."""

    source: Source
    certainty: Certainty
    place: Place


@dataclass(frozen=True, slots=True)
class Finish:
    """A finish. ``like`` are other finishes by code, with how they go together."""

    code: str
    us: str
    look: str
    base: str
    kind: str
    like: Mapping[str, Likeness]
    grounds: Grounds


@dataclass(frozen=True, slots=True)
class LockFunction:
    """A lock function. ``number`` is empty where it has none; ``same_as`` is a value of the fact ``lock_function``."""

    name: str
    number: str
    lock: Lock
    called: str
    same_as: str
    inside: str
    outside: str
    use: str
    behaves: tuple[str, ...]
    grounds: Grounds


@dataclass(frozen=True, slots=True)
class HardwareType:
    """What a number or name of a standard means; ``_`` in a number stands for any digit or letter."""

    name: str
    standard: str
    number: str
    called: str
    grade: str
    means: str
    grounds: Grounds


@dataclass(frozen=True, slots=True)
class Term:
    """A word of the trade. ``covers`` are items and families; ``against`` how it differs from other terms."""

    name: str
    called: tuple[str, ...]
    sentence: str
    covers: tuple[str, ...]
    against: Mapping[str, str]
    grounds: Grounds


@dataclass(frozen=True, slots=True)
class Hand:
    """The hand of a door by its hinges, or of a pair by its active leaf; seen from outside."""

    name: str
    written: str
    called: str
    side: Side
    swings: Swing
    of_pair: bool
    grounds: Grounds


@dataclass(frozen=True, slots=True)
class Note:
    """A sentence told with every hand."""

    name: str
    says: str
    grounds: Grounds


@dataclass(frozen=True, slots=True)
class Sizing:
    """Something sized by itself.

    Attributes:
        called: what people say.
        asks: the fact that a bare length or number answers; None where none does.
        shows: tables and figures, in the order told.
        rules: rules whose cautions speak of it.
    """

    name: str
    called: tuple[str, ...]
    title: str
    asks: str | None
    shows: tuple[str, ...]
    rules: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Lookups:
    """Everything under ``lookups/``, by name."""

    finishes: Mapping[str, Finish]
    functions: Mapping[str, LockFunction]
    types: Mapping[str, HardwareType]
    terms: Mapping[str, Term]
    hands: Mapping[str, Hand]
    notes: Mapping[str, Note]
    sizings: Mapping[str, Sizing]


def load_lookups(graph: KnowledgeGraph, *folders: Path) -> Lookups:
    """Everything the folders hold under ``lookups/``.

    Args:
        graph: the graph of the same folders, whose items, tables and rules the entries name.
        folders: as for the graph: a whole knowledge folder first, then folders laid over it.

    Raises:
        KnowledgeError: a file is wrong, or an entry names what is not there.
    """
    layers = [Layer(folder, local=number > 0) for number, folder in enumerate(folders)]
    reader = _EntryReader(graph)

    def entries(name: str) -> list[tuple[str, YamlMapping, bool]]:
        return laid(layers, f"lookups/{name}.yaml")

    hands = entries("hand")
    found = Lookups(
        finishes={name: reader.finish(name, data, local) for name, data, local in entries("finishes")},
        functions={name: reader.function(name, data, local) for name, data, local in entries("lock_functions")},
        types={name: reader.type(name, data, local) for name, data, local in entries("hardware_types")},
        terms={name: reader.term(name, data, local) for name, data, local in entries("glossary")},
        hands={name: reader.hand(name, data, local) for name, data, local in hands if "says" not in data},
        notes={name: reader.note(name, data, local) for name, data, local in hands if "says" in data},
        sizings={name: reader.sizing(name, data) for name, data, _ in entries("sizes")},
    )
    for finish in found.finishes.values():
        check_known(finish.like, found.finishes, finish.grounds.place, "finish")
    for term in found.terms.values():
        check_known(term.against, found.terms, term.grounds.place, "entry of the glossary")
    return found


class _EntryReader:
    """Reads single entries."""

    def __init__(self, graph: KnowledgeGraph) -> None:
        self._graph = graph

    def grounds(self, data: YamlMapping, local: bool) -> Grounds:
        source = source_of(data, self._graph.works, local)
        certainty = one_of(data, "certainty", get_args(Certainty))
        if (certainty in ("memory", "low")) != (source.basis == "from_memory"):
            raise KnowledgeError(
                data.at("certainty"), "What is from memory has certainty memory or low, and only that."
            )
        return Grounds(source, certainty, data.place)

    def finish(self, code: str, data: YamlMapping, local: bool) -> Finish:
        check_keys(data, ("look", "base", "kind", *GROUNDS), ("us", "like"), KnowledgeError)
        like = data.get("like", YamlMapping())
        if not isinstance(like, YamlMapping):
            raise KnowledgeError(data.at("like"), "'like' gives other finishes and how they go together.")
        return Finish(
            code=code,
            us=sentence(data, "us"),
            look=sentence(data, "look"),
            base=sentence(data, "base"),
            kind=sentence(data, "kind"),
            like={other: one_of(like, other, get_args(Likeness)) for other in like},
            grounds=self.grounds(data, local),
        )

    def function(self, name: str, data: YamlMapping, local: bool) -> LockFunction:
        needed = ("lock", "called", "inside", "outside", "use", "behaves", *GROUNDS)
        check_keys(data, needed, ("number", "same_as"), KnowledgeError)
        same_as = sentence(data, "same_as")
        if same_as:
            check_known([same_as], self._graph.kinds["lock_function"].choices, data.at("same_as"), "lock function")
        return LockFunction(
            name=name,
            number=sentence(data, "number"),
            lock=one_of(data, "lock", get_args(Lock)),
            called=sentence(data, "called"),
            same_as=same_as,
            inside=sentence(data, "inside"),
            outside=sentence(data, "outside"),
            use=sentence(data, "use"),
            behaves=texts(data, "behaves", KnowledgeError),
            grounds=self.grounds(data, local),
        )

    def type(self, name: str, data: YamlMapping, local: bool) -> HardwareType:
        check_keys(data, ("standard", "called", "means", *GROUNDS), ("number", "grade"), KnowledgeError)
        return HardwareType(
            name=name,
            standard=sentence(data, "standard"),
            number=sentence(data, "number"),
            called=sentence(data, "called"),
            grade=sentence(data, "grade"),
            means=sentence(data, "means"),
            grounds=self.grounds(data, local),
        )

    def term(self, name: str, data: YamlMapping, local: bool) -> Term:
        check_keys(data, ("called", "is", *GROUNDS), ("covers", "against"), KnowledgeError)
        covers = texts(data, "covers", KnowledgeError)
        families = {family for item in self._graph.items.values() for family in item.is_a}
        check_known(covers, {*self._graph.items, *families}, data.at("covers"), "item")
        against = data.get("against", YamlMapping())
        if not isinstance(against, YamlMapping):
            raise KnowledgeError(data.at("against"), "'against' gives other entries and how this one differs.")
        return Term(
            name=name,
            called=texts(data, "called", KnowledgeError),
            sentence=sentence(data, "is"),
            covers=covers,
            against={other: sentence(against, other) for other in against},
            grounds=self.grounds(data, local),
        )

    def hand(self, name: str, data: YamlMapping, local: bool) -> Hand:
        of_pair = "active" in data
        side = "active" if of_pair else "hinges"
        check_keys(data, ("written", "called", side, "swings", *GROUNDS), (), KnowledgeError)
        return Hand(
            name=name,
            written=sentence(data, "written"),
            called=sentence(data, "called"),
            side=one_of(data, side, get_args(Side)),
            swings=one_of(data, "swings", get_args(Swing)),
            of_pair=of_pair,
            grounds=self.grounds(data, local),
        )

    def note(self, name: str, data: YamlMapping, local: bool) -> Note:
        check_keys(data, ("says", *GROUNDS), (), KnowledgeError)
        return Note(name, sentence(data, "says"), self.grounds(data, local))

    def sizing(self, name: str, data: YamlMapping) -> Sizing:
        check_keys(data, ("called", "title", "shows"), ("asks", "rules"), KnowledgeError)
        graph, asks = self._graph, data.get("asks")
        shows, rules = (texts(data, key, KnowledgeError) for key in ("shows", "rules"))
        check_known(shows, {*graph.tables, *graph.figures}, data.at("shows"), "table or figure")
        check_known(rules, graph.rules, data.at("rules"), "rule")
        if asks is not None:
            check_known([asks], graph.kinds, data.at("asks"), "fact")
        return Sizing(name, texts(data, "called", KnowledgeError), sentence(data, "title"), asks, shows, rules)
