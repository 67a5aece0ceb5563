"""Work on doors that hang, the yearly inspection, troubles, and what is refused: ``care/`` of the knowledge folders.

It makes a networkx graph of its own, from cause to effect: trouble → cause → check → mend → work, inspection → trouble
and work, refusal, work and trouble → rule or source. Nodes are text with their kind in front, as in the main graph.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any, Literal, TypeVar, get_args

import networkx as nx

from advisor.errors import KnowledgeError
from advisor.knowledge.conditions import Condition, Reader, facts_read, number_at, requirements_read
from advisor.knowledge.entry import check_known, one_of, sentence
from advisor.knowledge.graph import KnowledgeGraph
from advisor.knowledge.load import Layer, laid, source_of
from advisor.knowledge.parts import Source
from advisor.yaml_files import Mapping as YamlMapping
from advisor.yaml_files import Place, check_keys, texts

Verdict = Literal["on_site", "approval", "never"]
Label = Literal["kept", "lost_without_approval", "lost"]
After = Literal["kept", "kept_if_listed", "needs_approval"]
Person = Literal[
    "installer",
    "door_maker",
    "frame_maker",
    "hardware_maker",
    "labelling_agency",
    "licensed_shop",
    "authority",
    "locksmith",
    "glazier",
    "alarm_firm",
]


@dataclass(frozen=True, slots=True)
class Size:
    """A length named with a question, inches: up to ``at_most``, or over ``more_than``."""

    at_most: Fraction | None = None
    more_than: Fraction | None = None

    def holds(self, inches: Fraction) -> bool:
        """Whether a length is within."""
        return (self.at_most is None or inches <= self.at_most) and (self.more_than is None or inches > self.more_than)


@dataclass(frozen=True, slots=True)
class Topic:
    """What a customer's words may be about; with ``word``, only where that word is among them."""

    about: str
    word: str = ""


@dataclass(frozen=True, slots=True)
class Work:
    """A kind of work on a door that hangs.

    Attributes:
        verdict: on a labelled door: done on site, only with the labelling agency's approval before, or never.
        label: what it does to the label.
        when: where this entry holds; None everywhere.
        size: the lengths this entry is about; None any.
        unrated: what holds on a door with no rating; empty where nothing bars it.
        only_asked: the same words are a plain order too, so that it is told only where the customer asks.
    """

    name: str
    title: str
    heard: tuple[Topic, ...]
    verdict: Verdict
    label: Label
    because: str
    limits: tuple[str, ...]
    turn_to: tuple[Person, ...]
    unrated: str
    when: Condition | None
    size: Size | None
    only_asked: bool
    rules: tuple[str, ...]
    source: Source
    facts: tuple[str, ...]
    place: Place


@dataclass(frozen=True, slots=True)
class InspectionItem:
    """One item of the yearly inspection; ``after`` is what the mend does to the label."""

    name: str
    number: int
    title: str
    look_at: str
    fails: tuple[str, ...]
    mends: tuple[str, ...]
    after: After
    troubles: tuple[str, ...]
    works: tuple[str, ...]
    rules: tuple[str, ...]
    source: Source
    facts: tuple[str, ...]
    place: Place


@dataclass(frozen=True, slots=True)
class Cause:
    """A likely cause of a trouble, how to see it, what mends it, and the works the mend is made of."""

    title: str
    check: str
    mend: str
    when: Condition | None
    works: tuple[str, ...]
    place: Place


@dataclass(frozen=True, slots=True)
class Trouble:
    """Something wrong with a door. ``causes`` stand in the order to look at them."""

    name: str
    symptom: str
    defects: tuple[str, ...]
    causes: tuple[Cause, ...]
    fire_door: tuple[str, ...]
    turn_to: tuple[Person, ...]
    rules: tuple[str, ...]
    source: Source
    facts: tuple[str, ...]
    place: Place


@dataclass(frozen=True, slots=True)
class Refusal:
    """Something asked for that is barred where ``when`` holds (None: everywhere); ``rules`` bar it."""

    name: str
    thing: str
    heard: tuple[Topic, ...]
    where: str
    when: Condition | None
    because: str
    instead: tuple[str, ...]
    otherwise: str
    rules: tuple[str, ...]
    facts: tuple[str, ...]
    place: Place


class Care:
    """Everything under ``care/``, by name, and the graph it makes."""

    def __init__(
        self,
        works: Mapping[str, Work],
        inspection: Mapping[str, InspectionItem],
        troubles: Mapping[str, Trouble],
        refusals: Mapping[str, Refusal],
    ) -> None:
        self.works, self.troubles, self.refusals = works, troubles, refusals
        self.inspection = tuple(sorted(inspection.values(), key=lambda item: item.number))
        self.by_defect = {defect: trouble for trouble in troubles.values() for defect in trouble.defects}
        self.nx = self._build()

    def trouble(self, about: str | None) -> Trouble | None:
        """The trouble a defect is, by the trade's word for it."""
        return self.by_defect.get(about or "")

    def refusals_of(self, about: str | None, words: Collection[str]) -> tuple[Refusal, ...]:
        """The refusals a wish is about, those that name one of its words before those that name none."""
        return _closest(self.refusals.values(), about, words)

    def works_of(self, about: str | None, words: Collection[str]) -> tuple[Work, ...]:
        """The works a question is about, by name."""
        return _closest(self.works.values(), about, words)

    def explanation(self, node: str) -> list[list[str]]:
        """Every chain from a node to the rules and sources it rests on, sorted."""
        ends = [other for other in nx.descendants(self.nx, node) if other.startswith(("rule:", "source:"))]
        return sorted(path for end in ends for path in nx.all_simple_paths(self.nx, node, end))

    def _build(self) -> nx.DiGraph[str]:
        graph: nx.DiGraph[str] = nx.DiGraph()
        for work in self.works.values():
            self._rests(graph, f"work:{work.name}", work.rules, work.source)
        for trouble in self.troubles.values():
            node = f"trouble:{trouble.name}"
            self._rests(graph, node, trouble.rules, trouble.source)
            for order, cause in enumerate(trouble.causes, 1):
                steps = [node, *(f"{kind}:{trouble.name}:{order}" for kind in ("cause", "check", "mend"))]
                for before, after, how in zip(steps, steps[1:], ("may be", "seen by", "mended by"), strict=False):
                    graph.add_edge(before, after, how=how, order=order)
                for name in cause.works:
                    graph.add_edge(steps[-1], f"work:{name}", how="takes")
        for item in self.inspection:
            node = f"inspection:{item.name}"
            self._rests(graph, node, item.rules, item.source)
            for name in item.troubles:
                graph.add_edge(node, f"trouble:{name}", how="fails by")
            for name in item.works:
                graph.add_edge(node, f"work:{name}", how="mended by")
        for refusal in self.refusals.values():
            self._rests(graph, f"refusal:{refusal.name}", refusal.rules, None)
        return graph

    @staticmethod
    def _rests(graph: nx.DiGraph[str], node: str, rules: Iterable[str], source: Source | None) -> None:
        for rule in rules:
            graph.add_edge(node, f"rule:{rule}", how="rests on")
        if source is not None:
            graph.add_edge(node, f"source:{source.work or source.basis}", how="rests on")


Heard = TypeVar("Heard", Work, Refusal)


def _closest(entries: Iterable[Heard], about: str | None, words: Collection[str]) -> tuple[Heard, ...]:
    plain, worded = [], []
    for entry in entries:
        for topic in entry.heard:
            if topic.about == about and not topic.word:
                plain.append(entry)
            elif topic.about == about and topic.word in words:
                worded.append(entry)
    return tuple(dict.fromkeys(worded or plain))


def load_care(graph: KnowledgeGraph, *folders: Path) -> Care:
    """Everything the folders hold under ``care/``.

    Args:
        graph: the graph of the same folders, whose rules, facts and works cited the entries name.
        folders: as for the graph: a whole knowledge folder first, then folders laid over it.

    Raises:
        KnowledgeError: a file is wrong, or an entry names what is not there.
    """
    layers = [Layer(folder, local=position > 0) for position, folder in enumerate(folders)]
    reader = _CareReader(graph)

    def entries(name: str) -> list[tuple[str, YamlMapping, bool]]:
        return laid(layers, f"care/{name}.yaml")

    works = {name: reader.work(name, data, local) for name, data, local in entries("field_work")}
    troubles = {name: reader.trouble(name, data, local) for name, data, local in entries("troubles")}
    inspection = {name: reader.inspection_item(name, data, local) for name, data, local in entries("inspection")}
    refusals = {name: reader.refusal(name, data) for name, data, _ in entries("refusals")}
    for trouble in troubles.values():
        for cause in trouble.causes:
            check_known(cause.works, works, cause.place, "work")
    for item in inspection.values():
        check_known(item.works, works, item.place, "work")
        check_known(item.troubles, troubles, item.place, "trouble")
    _once(((str(item.number), item.place) for item in inspection.values()), "The number")
    _once(((defect, trouble.place) for trouble in troubles.values() for defect in trouble.defects), "The defect")
    return Care(works, inspection, troubles, refusals)


def _once(entries: Iterable[tuple[str, Place]], what: str) -> None:
    seen: dict[str, Place] = {}
    for name, place in entries:
        if name in seen:
            raise KnowledgeError(place, f"{what} {name!r} also stands at {seen[name]}.")
        seen[name] = place


class _CareReader:
    """Reads single entries."""

    def __init__(self, graph: KnowledgeGraph) -> None:
        self._graph = graph
        self._conditions = Reader(graph.kinds, graph.requirements)

    def work(self, name: str, data: YamlMapping, local: bool) -> Work:
        needed = ("work", "heard", "verdict", "label", "because", "turn_to", "rules", "source")
        check_keys(data, needed, ("limits", "unrated", "when", "size", "only_asked", "facts"), KnowledgeError)
        verdict: Verdict = one_of(data, "verdict", get_args(Verdict))
        label: Label = one_of(data, "label", get_args(Label))
        if (verdict, label) not in (("on_site", "kept"), ("approval", "lost_without_approval"), ("never", "lost")):
            raise KnowledgeError(data.at("label"), f"Work that is {verdict!r} does not leave the label {label!r}.")
        return Work(
            name=name,
            title=sentence(data, "work"),
            heard=self._heard(data),
            verdict=verdict,
            label=label,
            because=sentence(data, "because"),
            limits=_lines(data, "limits"),
            turn_to=_people(data),
            unrated=sentence(data, "unrated"),
            when=self._when(data),
            size=self._size(data),
            only_asked="only_asked" in data and one_of(data, "only_asked", ("yes", "no")) == "yes",
            rules=self._rules(data),
            source=source_of(data, self._graph.works, local),
            facts=_lines(data, "facts"),
            place=data.place,
        )

    def inspection_item(self, name: str, data: YamlMapping, local: bool) -> InspectionItem:
        needed = ("number", "item", "look_at", "fails", "mends", "after", "rules", "source")
        check_keys(data, needed, ("troubles", "works", "facts"), KnowledgeError)
        if not str(data["number"]).isdecimal():
            raise KnowledgeError(data.at("number"), "'number' must be a whole number.")
        return InspectionItem(
            name=name,
            number=int(data["number"]),
            title=sentence(data, "item"),
            look_at=sentence(data, "look_at"),
            fails=_lines(data, "fails", needed=True),
            mends=_lines(data, "mends", needed=True),
            after=one_of(data, "after", get_args(After)),
            troubles=_lines(data, "troubles"),
            works=_lines(data, "works"),
            rules=self._rules(data),
            source=source_of(data, self._graph.works, local),
            facts=_lines(data, "facts"),
            place=data.place,
        )

    def trouble(self, name: str, data: YamlMapping, local: bool) -> Trouble:
        needed = ("symptom", "defects", "causes", "fire_door", "turn_to", "rules", "source")
        check_keys(data, needed, ("facts",), KnowledgeError)
        return Trouble(
            name=name,
            symptom=sentence(data, "symptom"),
            defects=_lines(data, "defects", needed=True),
            causes=tuple(self._causes(data)),
            fire_door=_lines(data, "fire_door", needed=True),
            turn_to=_people(data),
            rules=self._rules(data),
            source=source_of(data, self._graph.works, local),
            facts=_lines(data, "facts"),
            place=data.place,
        )

    def _causes(self, data: YamlMapping) -> Iterator[Cause]:
        causes = data["causes"]
        if not isinstance(causes, list) or not causes:
            raise KnowledgeError(data.at("causes"), "'causes' is a list of at least one cause.")
        for entry in causes:
            if not isinstance(entry, YamlMapping):
                raise KnowledgeError(data.at("causes"), "A cause is a mapping with cause, check and mend.")
            check_keys(entry, ("cause", "check", "mend"), ("when", "works"), KnowledgeError)
            yield Cause(
                title=sentence(entry, "cause"),
                check=sentence(entry, "check"),
                mend=sentence(entry, "mend"),
                when=self._when(entry),
                works=_lines(entry, "works"),
                place=entry.place,
            )

    def refusal(self, name: str, data: YamlMapping) -> Refusal:
        needed = ("thing", "heard", "because", "instead", "rules")
        check_keys(data, needed, ("where", "when", "otherwise", "facts"), KnowledgeError)
        given = [key for key in ("where", "when", "otherwise") if key in data]
        if len(given) not in (0, 3):
            raise KnowledgeError(data.place, "'where', 'when' and 'otherwise' stand together or not at all.")
        return Refusal(
            name=name,
            thing=sentence(data, "thing"),
            heard=self._heard(data),
            where=sentence(data, "where"),
            when=self._when(data),
            because=sentence(data, "because"),
            instead=_lines(data, "instead", needed=True),
            otherwise=sentence(data, "otherwise"),
            rules=self._rules(data),
            facts=_lines(data, "facts"),
            place=data.place,
        )

    def _heard(self, data: YamlMapping) -> tuple[Topic, ...]:
        return tuple(Topic(*text.split("/", 1)) for text in _lines(data, "heard", needed=True))

    def _rules(self, data: YamlMapping) -> tuple[str, ...]:
        rules = _lines(data, "rules", needed=True)
        check_known(rules, self._graph.rules, data.at("rules"), "rule")
        return rules

    def _when(self, data: YamlMapping) -> Condition | None:
        if "when" not in data:
            return None
        condition = self._conditions.condition(data["when"], data.at("when"))
        if requirements_read(condition):
            raise KnowledgeError(data.at("when"), "A condition here reads facts, not requirements.")
        for name in sorted(facts_read(condition)):
            # a quantity's thresholds would have to be among the cells the judge works with
            if self._graph.kinds[name].kind == "quantity":
                raise KnowledgeError(data.at("when"), f"A condition here reads no quantity, as {name!r} is.")
        return condition

    def _size(self, data: YamlMapping) -> Size | None:
        if "size" not in data:
            return None
        size = data["size"]
        if not isinstance(size, YamlMapping) or not size:
            raise KnowledgeError(data.at("size"), "'size' takes bounds in inches.", ("at_most", "more_than"))
        check_keys(size, (), ("at_most", "more_than"), KnowledgeError)
        return Size(**{key: number_at(size[key], size.at(key)) for key in size})


def _lines(data: YamlMapping, key: str, needed: bool = False) -> tuple[str, ...]:
    lines = tuple(line.strip() for line in texts(data, key, KnowledgeError))
    if (needed and not lines) or not all(lines):
        raise KnowledgeError(data.at(key), f"{key!r} names nothing.")
    return lines


def _people(data: YamlMapping) -> tuple[Any, ...]:
    people = _lines(data, "turn_to", needed=True)
    for person in people:
        if person not in get_args(Person):
            raise KnowledgeError(data.at("turn_to"), f"{person!r} is nobody to turn to.", get_args(Person), got=person)
    return people
