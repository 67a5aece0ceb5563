"""Reads a knowledge_graph folder into a KnowledgeGraph, or says with file and line what is wrong."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from fractions import Fraction
from pathlib import Path
from string import Formatter
from typing import Any, get_args

from advisor.errors import KnowledgeError
from advisor.facts import Between, FactKind, OneOf, Possible
from advisor.knowledge.conditions import All, Compare, Condition, Reader, choices_within, facts_read, requirements_read
from advisor.knowledge.graph import KnowledgeGraph, Parts
from advisor.knowledge.measures import MEASURES
from advisor.knowledge.parts import (
    Arrangement,
    Case,
    Companion,
    Effect,
    Figure,
    Item,
    Leaf,
    Requirement,
    Row,
    Rule,
    Source,
    Strength,
    Table,
    Use,
    Work,
)
from advisor.yaml_files import Mapping as YamlMapping
from advisor.yaml_files import Place, check_keys, files_under, read, texts

EFFECTS: tuple[Effect, ...] = get_args(Effect)
EXPECTED = ("applies", "does not apply")
BASE_FILES = ("facts.yaml", "requirements.yaml", "sources.yaml")
SHOWN_AS = ("", "feet", "plain", "decimal")


def load_knowledge(*folders: Path) -> KnowledgeGraph:
    """The graph of everything the knowledge folders say.

    Args:
        folders: a whole knowledge folder first, then folders laid over it (local amendments, house rules). What is laid
            over adds; it takes the place of something below only by naming it under ``replaces``.

    Raises:
        KnowledgeError: a file is wrong, two files disagree, or a name stands twice without ``replaces``.
    """
    layers = [Layer(folder, local=number > 0) for number, folder in enumerate(folders)]
    for name in BASE_FILES:
        layers[0].need(name)
    kinds = {name: _kind(name, entry) for name, entry, _ in laid(layers, "facts.yaml")}
    requirements = {name: _requirement(name, entry) for name, entry, _ in laid(layers, "requirements.yaml")}
    works = {name: _work(name, entry) for name, entry, _ in laid(layers, "sources.yaml")}
    reader = _PartReader(kinds, requirements, works)
    tables = laid(layers, "tables/")
    sized = [name for name, data, _ in tables if "rows" in data]
    plain = [(data, local) for _, data, local in tables if "rows" not in data]
    figures = [(name, entry, local) for data, local in plain for name, entry in _entries(data)]
    return KnowledgeGraph(
        Parts(
            kinds=kinds,
            requirements=requirements,
            works=works,
            rules={name: reader.rule(name, data, local) for name, data, local in laid(layers, "rules/")},
            items={
                name: reader.item(name, entry, local) for name, entry, local in laid(layers, "items/", entries=True)
            },
            arrangements={
                name: reader.arrangement(name, data, local) for name, data, local in laid(layers, "arrangements/")
            },
            tables={name: reader.table(name, data, local) for name, data, local in tables if "rows" in data},
            figures=_named(reader.figure(name, entry, sized, local) for name, entry, local in figures),
        ),
        fingerprint(*folders),
    )


class Layer:
    """One knowledge folder's files, by their path inside it."""

    def __init__(self, folder: Path, local: bool) -> None:
        self.folder, self.local = folder, local
        self.files = {name.split("/", 1)[1]: (path, name) for path, name in files_under(folder)}

    def need(self, name: str) -> None:
        """Refuse the folder where a file is missing."""
        if name not in self.files:
            raise KnowledgeError(Place(f"{self.folder.name}/{name}", 1), "The file is missing.")

    def read(self, start: str) -> list[tuple[str, YamlMapping]]:
        """Every file whose path starts so, with the rest of its path as name, sorted."""
        return [
            (name.removeprefix(start).removesuffix(".yaml"), read(path, shown, KnowledgeError))
            for name, (path, shown) in sorted(self.files.items())
            if name.startswith(start)
        ]


def laid(layers: Sequence[Layer], start: str, entries: bool = False) -> list[tuple[str, YamlMapping, bool]]:
    """What the layers hold under a path, by name: the lower first, less what an upper one replaces."""
    found: dict[str, tuple[YamlMapping, bool]] = {}
    for layer in layers:
        read_files = layer.read(start)
        if entries or not start.endswith("/"):
            read_files = [entry for _, data in read_files for entry in _entries(data)]
        for _, data in read_files:
            for replaced in texts(data, "replaces", KnowledgeError):
                if not layer.local or replaced not in found:
                    problem = f"There is nothing below called {replaced!r} to replace."
                    raise KnowledgeError(data.at("replaces"), problem, found if layer.local else (), got=replaced)
                del found[replaced]
        for name, data in read_files:
            if name in found:
                problem = f"{name!r} is already declared at {found[name][0].place}. Name it under 'replaces'."
                raise KnowledgeError(data.place, problem)
            data.pop("replaces", None)
            found[name] = (data, layer.local)
    # facts keep the order they are declared in, because they are shown in it; nothing else depends on an order
    names = found if start == "facts.yaml" else sorted(found)
    return [(name, *found[name]) for name in names]


def load_facts(folder: Path) -> dict[str, FactKind]:
    """The declared facts of a knowledge folder, by name.

    Raises:
        KnowledgeError: facts.yaml is wrong.
    """
    data = read(folder / "facts.yaml", f"{folder.name}/facts.yaml", KnowledgeError)
    return {name: _kind(name, entry) for name, entry in _entries(data)}


def fingerprint(*folders: Path) -> str:
    """A short digest of every knowledge file's name and content, folder by folder."""
    digest = hashlib.sha256()
    for folder in folders:
        for path, name in files_under(folder):
            digest.update(name.encode() + b"\0" + path.read_bytes() + b"\0")
    return digest.hexdigest()[:16]


def stands_alone(folder: Path) -> bool:
    """Whether a folder is a whole knowledge folder, or one to be laid over another."""
    return all((folder / name).is_file() for name in BASE_FILES)


def _named(parts: Any) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for part in parts:
        if part.name in found:
            raise KnowledgeError(part.place, f"{part.name!r} is already declared at {found[part.name].place}.")
        found[part.name] = part
    return found


def _entries(data: YamlMapping) -> list[tuple[str, YamlMapping]]:
    for name, entry in data.items():
        if not isinstance(entry, YamlMapping):
            raise KnowledgeError(data.at(name), f"{name!r} must hold a mapping.")
        entry.place = data.at(name)
    return list(data.items())


def _one_of(data: YamlMapping, key: str, allowed: Sequence[str], default: str | None = None) -> Any:
    value = data.get(key, default)
    if value not in allowed:
        raise KnowledgeError(data.at(key), f"{key!r} can't be {value!r}.", allowed, got=str(value))
    return value


def _flag(data: YamlMapping, key: str, default: bool = False) -> bool:
    return bool(_one_of(data, key, ("yes", "no", "true", "false"), "yes" if default else "no") in ("yes", "true"))


def _whole(data: YamlMapping, key: str, default: int) -> int:
    try:
        return int(data.get(key, default))
    except (TypeError, ValueError):
        raise KnowledgeError(data.at(key), f"{key!r} must be a whole number.") from None


def _kind(name: str, data: YamlMapping) -> FactKind:
    check_keys(
        data,
        ("kind", "meaning"),
        ("unit", "choices", "kinds", "topic", "ease", "presumed", "low", "high"),
        KnowledgeError,
    )
    kind = _one_of(data, "kind", ("choice", "yes_no", "steps", "quantity"))
    choices = ("no", "yes") if kind == "yes_no" else texts(data, "choices", KnowledgeError)
    if (kind in ("choice", "steps")) != bool(data.get("choices")):
        raise KnowledgeError(data.place, f"{name!r}: a choice or steps fact lists its choices, others have none.")
    groups = {group: tuple(members) for group, members in data.get("kinds", {}).items()}
    for group, members in groups.items():
        for member in members:
            if member not in choices:
                raise KnowledgeError(data.at("kinds"), f"{group!r} holds {member!r}, which is no choice.", choices)
    reader = Reader({}, {})
    bounds = {key: reader._number(data[key], data.at(key)) if key in data else None for key in ("low", "high")}
    made = FactKind(
        name=name,
        kind=kind,
        meaning=data["meaning"],
        unit=data.get("unit", ""),
        choices=choices,
        groups=groups,
        presumed=data.get("presumed"),
        topic=_one_of(data, "topic", ("safety", "set", "ordering"), "set"),
        ease=_whole(data, "ease", 3),
        low=bounds["low"],
        high=bounds["high"],
    )
    if made.presumed is not None:
        reader.compare(made, made.presumed, data.at("presumed"))
    return made


def _requirement(name: str, data: YamlMapping) -> Requirement:
    check_keys(data, ("on", "meaning"), ("stage", "trait", "met_by_nothing", "listed"), KnowledgeError)
    trait = _flag(data, "trait")
    stages = ("hanging", "securing", "closing", "sealing", "stopping", "protecting", "silencing")
    return Requirement(
        name=name,
        on=_one_of(data, "on", get_args(Leaf)),
        stage="" if trait else _one_of(data, "stage", stages),
        meaning=data["meaning"],
        place=data.place,
        trait=trait,
        met_by_nothing=_flag(data, "met_by_nothing"),
        listed=_flag(data, "listed"),
    )


def _work(name: str, data: YamlMapping) -> Work:
    check_keys(data, ("title", "short"), (), KnowledgeError)
    return Work(name, data["title"], data["short"])


class _PartReader:
    """Reads every part that holds conditions or sources."""

    def __init__(
        self, kinds: Mapping[str, FactKind], requirements: Mapping[str, Requirement], works: Mapping[str, Work]
    ) -> None:
        self._kinds = kinds
        self._requirements = requirements
        self._works = works
        self._reader = Reader(kinds, requirements)

    def rule(self, name: str, data: YamlMapping, local: bool = False) -> Rule:
        check_keys(
            data,
            ("rule", "when", "because", "source", "strength", "cases"),
            (*EFFECTS, "facts", "editions"),
            KnowledgeError,
        )
        effects = [effect for effect in EFFECTS if effect in data]
        if len(effects) != 1:
            raise KnowledgeError(data.place, "A rule has exactly one effect.", EFFECTS)
        effect = effects[0]
        condition = self._reader.condition(data["when"], data.at("when"))
        if "editions" in data:
            condition = self._with_editions(condition, data)
        implied = None
        if effect == "implies":
            implied = self._implied(data)
            targets: tuple[str, ...] = (implied.fact,)
            if requirements_read(condition) or implied.fact in facts_read(condition):
                raise KnowledgeError(data.at("when"), "An implication reads neither requirements nor its own fact.")
        else:
            targets = texts(data, effect, KnowledgeError)
            if not targets:
                raise KnowledgeError(data.at(effect), f"{effect!r} names nothing.")
        if effect in ("requires", "forbids"):
            self._check_requirements(targets, data.at(effect), effect)
        return Rule(
            name=name,
            sentence=data["rule"],
            effect=effect,
            targets=targets,
            condition=condition,
            because=data["because"],
            source=source_of(data, self._works, local),
            strength=_one_of(data, "strength", get_args(Strength)),
            place=data.place,
            implied=implied,
            facts=texts(data, "facts", KnowledgeError),
            cases=tuple(self._case(case, data.at("cases")) for case in data["cases"]),
        )

    def _with_editions(self, condition: Condition, data: YamlMapping) -> Condition:
        edition = self._reader.compare(self._kinds["code"], data["editions"], data.at("editions"))
        parts = condition.parts if isinstance(condition, All) else (condition,)
        return All((*parts, edition))

    def _implied(self, data: YamlMapping) -> Compare:
        implied = data["implies"]
        if not isinstance(implied, YamlMapping) or len(implied) != 1:
            raise KnowledgeError(data.at("implies"), "An implication gives one fact: {fact: value}.")
        condition = self._reader.condition(implied, implied.place)
        assert isinstance(condition, Compare)
        return condition

    def _check_requirements(self, names: Sequence[str], place: Place, effect: str) -> None:
        for name in names:
            if name not in self._requirements:
                raise KnowledgeError(place, f"There is no requirement {name!r}.", self._requirements, got=name)
            if effect == "requires" and self._requirements[name].trait:
                raise KnowledgeError(place, f"{name!r} is a trait: it can only be forbidden.")

    def _case(self, data: Any, place: Place) -> Case:
        if not isinstance(data, YamlMapping):
            raise KnowledgeError(place, "A case is a mapping with name, given and expect.")
        check_keys(data, ("name", "given", "expect"), ("in_force",), KnowledgeError)
        expect = data["expect"]
        if isinstance(expect, YamlMapping):
            check_keys(expect, ("ask",), (), KnowledgeError)
            expect = tuple(sorted(texts(expect, "ask", KnowledgeError)))
            for fact in expect:
                if fact not in self._kinds:
                    raise KnowledgeError(data.at("expect"), f"There is no fact {fact!r}.", self._kinds, got=fact)
        elif expect not in EXPECTED:
            raise KnowledgeError(data.at("expect"), f"A case can't expect {expect!r}.", [*EXPECTED, "{ask: [..]}"])
        given = data["given"]
        if not isinstance(given, YamlMapping):
            raise KnowledgeError(data.at("given"), "'given' is a mapping of facts.")
        in_force = texts(data, "in_force", KnowledgeError)
        self._check_requirements(in_force, data.at("in_force"), "in_force")
        known = {fact: self._given(fact, given) for fact in given}
        return Case(data["name"], known, frozenset(in_force), expect, data.place)

    def _given(self, fact: str, given: YamlMapping) -> Possible:
        if fact not in self._kinds:
            raise KnowledgeError(given.at(fact), f"There is no fact {fact!r}.", self._kinds, got=fact)
        return possible_of(self._kinds[fact], self._reader.compare(self._kinds[fact], given[fact], given.at(fact)))

    def item(self, name: str, data: YamlMapping, local: bool = False) -> Item:
        check_keys(
            data,
            ("title", "source"),
            (
                *("is_a", "type", "gives", "fits", "brings", "clashes", "moving_parts", "cost", "alone"),
                *("quantity", "size", "figures", "notes", "facts", "order", "purpose"),
            ),
            KnowledgeError,
        )
        gives = texts(data, "gives", KnowledgeError)
        self._check_requirements(gives, data.at("gives"), "gives")
        quantity = data.get("quantity", "1")
        return Item(
            name=name,
            is_a=texts(data, "is_a", KnowledgeError),
            title=data["title"],
            type=data.get("type", ""),
            gives=frozenset(gives),
            fits=self._reader.condition(data["fits"], data.at("fits")) if "fits" in data else None,
            brings=tuple(self._companion(entry, data.at("brings")) for entry in data.get("brings", ())),
            clashes=frozenset(texts(data, "clashes", KnowledgeError)),
            moving_parts=_whole(data, "moving_parts", 1),
            cost=_whole(data, "cost", 1),
            alone=_flag(data, "alone", True),
            quantity=int(quantity) if quantity.isdigit() else quantity,
            source=source_of(data, self._works, local),
            place=data.place,
            size=texts(data, "size", KnowledgeError),
            figures=texts(data, "figures", KnowledgeError),
            notes=texts(data, "notes", KnowledgeError),
            order=self._order(data),
            purpose=data.get("purpose", ""),
            facts=texts(data, "facts", KnowledgeError),
        )

    def _order(self, data: YamlMapping) -> tuple[str, ...]:
        order = texts(data, "order", KnowledgeError)
        for fact in order:
            if fact not in self._kinds:
                raise KnowledgeError(data.at("order"), f"There is no fact {fact!r}.", self._kinds, got=fact)
        return order

    def _companion(self, data: Any, place: Place) -> Companion:
        if isinstance(data, str):
            return Companion(data, "opening", None)
        check_keys(data, ("item",), ("on", "when", "quantity"), KnowledgeError)
        when = self._reader.condition(data["when"], data.at("when")) if "when" in data else None
        return Companion(
            data["item"], _one_of(data, "on", get_args(Leaf), "opening"), when, _whole(data, "quantity", 1)
        )

    def arrangement(self, name: str, data: YamlMapping, local: bool = False) -> Arrangement:
        check_keys(
            data,
            ("arrangement", "fits", "uses", "because", "source"),
            ("gives", "moving_parts", "cost", "by_listing", "brings", "clashes", "facts"),
            KnowledgeError,
        )
        gives = texts(data, "gives", KnowledgeError)
        self._check_requirements(gives, data.at("gives"), "gives")
        uses = []
        for entry in data["uses"]:
            check_keys(entry, ("item", "on"), (), KnowledgeError)
            uses.append(Use(entry["item"], _one_of(entry, "on", get_args(Leaf))))
        return Arrangement(
            name=name,
            title=data["arrangement"],
            fits=self._reader.condition(data["fits"], data.at("fits")),
            uses=tuple(uses),
            gives=frozenset(gives),
            moving_parts=_whole(data, "moving_parts", 1),
            cost=_whole(data, "cost", 1),
            because=data["because"],
            source=source_of(data, self._works, local),
            place=data.place,
            by_listing=_flag(data, "by_listing"),
            brings=tuple(self._companion(entry, data.at("brings")) for entry in data.get("brings", ())),
            clashes=frozenset(texts(data, "clashes", KnowledgeError)),
            facts=texts(data, "facts", KnowledgeError),
        )

    def table(self, name: str, data: YamlMapping, local: bool = False) -> Table:
        check_keys(data, ("table", "rows", "source"), ("unit", "facts"), KnowledgeError)
        rows = []
        for entry in data["rows"]:
            check_keys(entry, ("when", "value"), (), KnowledgeError)
            rows.append(Row(self._reader.condition(entry["when"], entry.place), entry["value"], entry.place))
        return Table(
            name,
            data["table"],
            data.get("unit", ""),
            tuple(rows),
            source_of(data, self._works, local),
            data.place,
            texts(data, "facts", KnowledgeError),
        )

    def figure(self, name: str, data: YamlMapping, tables: Sequence[str], local: bool = False) -> Figure:
        optional = ("measure", "table", "amounts", "show", "facts")
        check_keys(data, ("label", "because", "source"), optional, KnowledgeError)
        if ("measure" in data) == ("table" in data):
            raise KnowledgeError(data.place, f"{name!r} is given by a measure or by a table, one of the two.")
        amounts = self._amounts(data)
        if "table" in data:
            table = _one_of(data, "table", tables)
            needed: tuple[str, ...] = ()
        else:
            table, measure = "", _one_of(data, "measure", tuple(MEASURES))
            needed = MEASURES[measure].amounts
        for amount in needed:
            if amount not in amounts:
                raise KnowledgeError(data.at("amounts"), f"{data['measure']!r} works with the amount {amount!r}.")
        show = data.get("show", "{0}")
        try:
            fields = [(part, spec) for _, part, spec, _ in Formatter().parse(show) if part is not None]
        except ValueError as wrong:
            raise KnowledgeError(data.at("show"), f"'show' can't be read: {wrong}.") from None
        for part, spec in fields:
            if not part.isdigit() or spec not in SHOWN_AS:
                problem = f"'show' can't hold '{{{part}:{spec}}}'."
                raise KnowledgeError(data.at("show"), problem, [f"{{0:{way}}}" for way in SHOWN_AS])
        return Figure(
            name=name,
            label=data["label"],
            measure=data.get("measure", ""),
            because=data["because"],
            source=source_of(data, self._works, local),
            place=data.place,
            facts=texts(data, "facts", KnowledgeError),
            show=show,
            amounts=amounts,
            table=table,
        )

    def _amounts(self, data: YamlMapping) -> dict[str, tuple[Fraction, ...]]:
        amounts = data.get("amounts", {})
        if not isinstance(amounts, dict):
            raise KnowledgeError(data.at("amounts"), "'amounts' is a mapping of names to numbers or lists of numbers.")
        place = data.at("amounts")
        lists = {name: [value] if isinstance(value, str) else value for name, value in amounts.items()}
        return {name: tuple(self._reader._number(one, place) for one in ones) for name, ones in lists.items()}


def source_of(data: YamlMapping, works: Mapping[str, Work], local: bool = False) -> Source:
    """The source under the key ``source``, marked where it comes from a folder laid over.

    Raises:
        KnowledgeError: it is none, or names a work that is not declared.
    """
    source = data.get("source")
    if not isinstance(source, YamlMapping):
        raise KnowledgeError(
            data.at("source"), "A source is a mapping.", ("work", "common_practice", "from_memory")
        )
    if "work" in source:
        check_keys(source, ("work", "section"), ("edition",), KnowledgeError)
        if not isinstance(source["work"], str) or source["work"] not in works:
            problem = f"There is no work {source['work']!r} in sources.yaml."
            raise KnowledgeError(source.at("work"), problem, works, got=str(source["work"]))
        return Source(source["work"], source.get("edition", ""), source["section"], local=local)
    check_keys(source, (), ("common_practice", "from_memory"), KnowledgeError)
    if len(source) != 1:
        raise KnowledgeError(source.place, "A source is a work, common practice, or memory.")
    return Source(basis="common_practice" if "common_practice" in source else "from_memory", local=local)


def possible_of(kind: FactKind, compare: Compare) -> Possible:
    """What a comparison leaves possible of a fact.

    A bound that is left out ends at the value itself: "more than 50" of people begins at 51, of inches just above 50.
    """
    if kind.kind != "quantity":
        return OneOf(choices_within(compare, kind))
    low: Fraction | None = None
    high: Fraction | None = None
    step = Fraction(1) if kind.unit in ("people", "stories", "A") else Fraction(1, 1024)
    for bound, limit in compare.bounds:
        if bound in ("at_least", "more_than"):
            low = limit if bound == "at_least" else limit + step
        else:
            high = limit if bound == "at_most" else limit - step
    return Between(low, high)
