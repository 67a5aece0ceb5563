"""Reads a knowledge_graph folder into a KnowledgeGraph, or says with file and line what is wrong."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from string import Formatter
from typing import Any, get_args

from advisor.errors import KnowledgeError
from advisor.facts import Between, FactKind, OneOf, Possible
from advisor.knowledge.conditions import (
    All,
    Compare,
    Condition,
    Reader,
    choices_within,
    facts_read,
    number_at,
    requirements_read,
)
from advisor.knowledge.entry import one_of
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
from advisor.yaml_files import Place, check_keys, entries, files_under, inner, read, text, texts

EFFECTS: tuple[Effect, ...] = get_args(Effect)
EXPECTED = ("applies", "does not apply")
BASE_FILES = ("facts.yaml", "requirements.yaml", "sources.yaml")
SHOWN_AS = ("", "feet", "plain", "decimal")


def load_knowledge(*folders: Path, with_cases: bool = True) -> KnowledgeGraph:
    """The graph of everything the knowledge folders say.

    Args:
        folders: a whole knowledge folder first, then folders laid over it (local amendments, house rules). What is laid
            over adds; it takes the place of something below only by naming it under ``replaces``.
        with_cases: read the rules' cases too. They are two thirds of the text and advise nobody.

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
    rules = laid(layers, "rules/", leaving_out=None if with_cases else "cases")
    tables = laid(layers, "tables/")
    sized = [name for name, data, _ in tables if "rows" in data]
    plain = [(data, local) for _, data, local in tables if "rows" not in data]
    figures = [(name, entry, local) for data, local in plain for name, entry in _entries(data)]
    return KnowledgeGraph(
        Parts(
            kinds=kinds,
            requirements=requirements,
            works=works,
            rules={name: reader.rule(name, data, local) for name, data, local in rules},
            items={
                name: reader.item(name, entry, local) for name, entry, local in laid(layers, "items/", by_entry=True)
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

    def read(self, start: str, leaving_out: str | None = None) -> list[tuple[str, YamlMapping]]:
        """Every file whose path starts so, with the rest of its path as name, sorted."""
        return [
            (name.removeprefix(start).removesuffix(".yaml"), read(path, shown, KnowledgeError, leaving_out))
            for name, (path, shown) in sorted(self.files.items())
            if name.startswith(start)
        ]


def laid(
    layers: Sequence[Layer], start: str, by_entry: bool = False, leaving_out: str | None = None
) -> list[tuple[str, YamlMapping, bool]]:
    """What the layers hold under a path, by name: the lower first, less what an upper one replaces."""
    found: dict[str, tuple[YamlMapping, bool]] = {}
    for layer in layers:
        read_files = layer.read(start, leaving_out)
        if by_entry or not start.endswith("/"):
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


def _flag(data: YamlMapping, key: str, default: bool = False) -> bool:
    return bool(one_of(data, key, ("yes", "no", "true", "false"), "yes" if default else "no") in ("yes", "true"))


def _whole(data: YamlMapping, key: str, default: int) -> int:
    written = data.get(key, str(default))
    if not isinstance(written, str) or not written.isdecimal():
        raise KnowledgeError(data.at(key), f"{key!r} must be a whole number.")
    return int(written)


def _kind(name: str, data: YamlMapping) -> FactKind:
    check_keys(
        data,
        ("kind", "meaning"),
        ("unit", "choices", "kinds", "topic", "ease", "presumed", "low", "high", "building", "prior"),
        KnowledgeError,
    )
    kind = one_of(data, "kind", ("choice", "yes_no", "steps", "quantity"))
    choices = ("no", "yes") if kind == "yes_no" else texts(data, "choices", KnowledgeError)
    if (kind in ("choice", "steps")) != bool(data.get("choices")):
        raise KnowledgeError(data.place, f"{name!r}: a choice or steps fact lists its choices, others have none.")
    if kind == "steps":
        for choice in choices:
            number_at(choice, data.at("choices"))
    kinds = inner(data, "kinds", KnowledgeError)
    groups = {group: texts(kinds, group, KnowledgeError) for group in kinds}
    for group, members in groups.items():
        for member in members:
            if member not in choices:
                raise KnowledgeError(kinds.at(group), f"{group!r} holds {member!r}, which is no choice.", choices)
    low, high = (number_at(data[key], data.at(key)) if key in data else None for key in ("low", "high"))
    made = FactKind(
        name=name,
        kind=kind,
        meaning=text(data, "meaning", KnowledgeError),
        unit=text(data, "unit", KnowledgeError),
        choices=choices,
        groups=groups,
        presumed=text(data, "presumed", KnowledgeError) if "presumed" in data else None,
        topic=one_of(data, "topic", ("safety", "set", "ordering"), "set"),
        ease=_whole(data, "ease", 3),
        low=low,
        high=high,
        building=_flag(data, "building"),
    )
    if made.presumed is not None:
        Reader({}, {}).compare(made, made.presumed, data.at("presumed"))
    return replace(made, prior=_prior(made, data))


def _prior(kind: FactKind, data: YamlMapping) -> dict[str, int]:
    """The weight of each value a fact's prior names; none where it has no prior."""
    prior = inner(data, "prior", KnowledgeError)
    weights = {value: _whole(prior, value, 0) for value in prior}
    for value in weights:
        if kind.kind != "quantity":
            if value not in kind.choices:
                raise KnowledgeError(prior.at(value), f"{kind.name!r} has no value {value!r}.", kind.choices, got=value)
            continue
        amount = number_at(value, prior.at(value))
        if (kind.low is not None and amount < kind.low) or (kind.high is not None and amount > kind.high):
            raise KnowledgeError(prior.at(value), f"{value!r} is outside what {kind.name!r} can be.")
    if "prior" in data and not sum(weights.values()):
        raise KnowledgeError(data.at("prior"), "A prior needs a weight above 0.")
    return weights


def _requirement(name: str, data: YamlMapping) -> Requirement:
    check_keys(data, ("on", "meaning"), ("stage", "trait", "met_by_nothing", "listed"), KnowledgeError)
    trait = _flag(data, "trait")
    stages = ("hanging", "securing", "closing", "sealing", "stopping", "protecting", "silencing")
    return Requirement(
        name=name,
        on=one_of(data, "on", get_args(Leaf)),
        stage="" if trait else one_of(data, "stage", stages),
        meaning=text(data, "meaning", KnowledgeError),
        place=data.place,
        trait=trait,
        met_by_nothing=_flag(data, "met_by_nothing"),
        listed=_flag(data, "listed"),
    )


def _work(name: str, data: YamlMapping) -> Work:
    check_keys(data, ("title", "short"), (), KnowledgeError)
    return Work(name, text(data, "title", KnowledgeError), text(data, "short", KnowledgeError))


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
            sentence=text(data, "rule", KnowledgeError),
            effect=effect,
            targets=targets,
            condition=condition,
            because=text(data, "because", KnowledgeError),
            source=source_of(data, self._works, local),
            strength=one_of(data, "strength", get_args(Strength)),
            place=data.place,
            implied=implied,
            facts=texts(data, "facts", KnowledgeError),
            cases=tuple(self._case(case, place) for case, place in entries(data, "cases", KnowledgeError)),
        )

    def _with_editions(self, condition: Condition, data: YamlMapping) -> Condition:
        edition = self._reader.compare(self._fact("code", data.at("editions")), data["editions"], data.at("editions"))
        parts = condition.parts if isinstance(condition, All) else (condition,)
        return All((*parts, edition))

    def _implied(self, data: YamlMapping) -> Compare:
        implied = self._reader.condition(data["implies"], data.at("implies"))
        if not isinstance(implied, Compare):
            raise KnowledgeError(data.at("implies"), "An implication gives one fact: {fact: value}.")
        return implied

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
                self._fact(fact, data.at("expect"))
        elif expect not in EXPECTED:
            raise KnowledgeError(data.at("expect"), f"A case can't expect {expect!r}.", [*EXPECTED, "{ask: [..]}"])
        given = inner(data, "given", KnowledgeError)
        in_force = texts(data, "in_force", KnowledgeError)
        self._check_requirements(in_force, data.at("in_force"), "in_force")
        known = {fact: self._given(fact, given) for fact in given}
        return Case(text(data, "name", KnowledgeError), known, frozenset(in_force), expect, data.place)

    def _given(self, fact: str, given: YamlMapping) -> Possible:
        kind = self._fact(fact, given.at(fact))
        return possible_of(kind, self._reader.compare(kind, given[fact], given.at(fact)))

    def _fact(self, name: str, place: Place) -> FactKind:
        if name not in self._kinds:
            raise KnowledgeError(place, f"There is no fact {name!r}.", self._kinds, got=name)
        return self._kinds[name]

    def item(self, name: str, data: YamlMapping, local: bool = False) -> Item:
        check_keys(
            data,
            ("title", "source"),
            (
                *("is_a", "type", "gives", "fits", "brings", "clashes", "moving_parts", "cost", "alone"),
                *("quantity", "size", "figures", "notes", "facts", "order", "purpose", "label", "base"),
            ),
            KnowledgeError,
        )
        gives = texts(data, "gives", KnowledgeError)
        self._check_requirements(gives, data.at("gives"), "gives")
        quantity = text(data, "quantity", KnowledgeError, "1")
        return Item(
            name=name,
            is_a=texts(data, "is_a", KnowledgeError),
            title=text(data, "title", KnowledgeError),
            type=text(data, "type", KnowledgeError),
            gives=frozenset(gives),
            fits=self._reader.condition(data["fits"], data.at("fits")) if "fits" in data else None,
            brings=tuple(self._companion(entry, place) for entry, place in entries(data, "brings", KnowledgeError)),
            clashes=frozenset(texts(data, "clashes", KnowledgeError)),
            moving_parts=_whole(data, "moving_parts", 1),
            cost=_whole(data, "cost", 1),
            alone=_flag(data, "alone", True),
            quantity=int(quantity) if quantity.isdecimal() else quantity,
            source=source_of(data, self._works, local),
            place=data.place,
            size=texts(data, "size", KnowledgeError),
            figures=texts(data, "figures", KnowledgeError),
            notes=texts(data, "notes", KnowledgeError),
            order=self._order(data),
            purpose=text(data, "purpose", KnowledgeError),
            label=_flag(data, "label", True),
            base=text(data, "base", KnowledgeError),
            facts=texts(data, "facts", KnowledgeError),
        )

    def _order(self, data: YamlMapping) -> tuple[str, ...]:
        order = texts(data, "order", KnowledgeError)
        for fact in order:
            self._fact(fact, data.at("order"))
        return order

    def _companion(self, data: Any, place: Place) -> Companion:
        if isinstance(data, str):
            return Companion(data, "opening", None)
        check_keys(data, ("item",), ("on", "when", "quantity"), KnowledgeError, place)
        return Companion(
            item=text(data, "item", KnowledgeError),
            on=one_of(data, "on", get_args(Leaf), "opening"),
            when=self._reader.condition(data["when"], data.at("when")) if "when" in data else None,
            quantity=_whole(data, "quantity", 1),
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
        for entry, place in entries(data, "uses", KnowledgeError):
            check_keys(entry, ("item", "on"), (), KnowledgeError, place)
            uses.append(Use(text(entry, "item", KnowledgeError), one_of(entry, "on", get_args(Leaf))))
        return Arrangement(
            name=name,
            title=text(data, "arrangement", KnowledgeError),
            fits=self._reader.condition(data["fits"], data.at("fits")),
            uses=tuple(uses),
            gives=frozenset(gives),
            moving_parts=_whole(data, "moving_parts", 1),
            cost=_whole(data, "cost", 1),
            because=text(data, "because", KnowledgeError),
            source=source_of(data, self._works, local),
            place=data.place,
            by_listing=_flag(data, "by_listing"),
            brings=tuple(self._companion(entry, place) for entry, place in entries(data, "brings", KnowledgeError)),
            clashes=frozenset(texts(data, "clashes", KnowledgeError)),
            facts=texts(data, "facts", KnowledgeError),
        )

    def table(self, name: str, data: YamlMapping, local: bool = False) -> Table:
        check_keys(data, ("table", "rows", "source"), ("unit", "facts"), KnowledgeError)
        rows = []
        for entry, place in entries(data, "rows", KnowledgeError):
            check_keys(entry, ("when", "value"), (), KnowledgeError, place)
            when = self._reader.condition(entry["when"], entry.at("when"))
            rows.append(Row(when, text(entry, "value", KnowledgeError), place))
        return Table(
            name,
            text(data, "table", KnowledgeError),
            text(data, "unit", KnowledgeError),
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
            table = one_of(data, "table", tables)
            needed: tuple[str, ...] = ()
        else:
            table, measure = "", one_of(data, "measure", tuple(MEASURES))
            needed = MEASURES[measure].amounts
        for amount in needed:
            if amount not in amounts:
                raise KnowledgeError(data.at("amounts"), f"{data['measure']!r} works with the amount {amount!r}.")
        show = text(data, "show", KnowledgeError, "{0}")
        try:
            fields = [(part, spec) for _, part, spec, _ in Formatter().parse(show) if part is not None]
        except ValueError as wrong:
            raise KnowledgeError(data.at("show"), f"'show' can't be read: {wrong}.") from None
        for part, spec in fields:
            if not part.isdecimal() or spec not in SHOWN_AS:
                problem = f"'show' can't hold '{{{part}:{spec}}}'."
                raise KnowledgeError(data.at("show"), problem, [f"{{0:{way}}}" for way in SHOWN_AS])
        return Figure(
            name=name,
            label=text(data, "label", KnowledgeError),
            measure=text(data, "measure", KnowledgeError),
            because=text(data, "because", KnowledgeError),
            source=source_of(data, self._works, local),
            place=data.place,
            facts=texts(data, "facts", KnowledgeError),
            show=show,
            amounts=amounts,
            table=table,
        )

    def _amounts(self, data: YamlMapping) -> dict[str, tuple[Fraction, ...]]:
        amounts = inner(data, "amounts", KnowledgeError)
        found = {}
        for name in amounts:
            found[name] = tuple(number_at(one, amounts.at(name)) for one in texts(amounts, name, KnowledgeError))
            if not found[name]:
                raise KnowledgeError(amounts.at(name), f"{name!r} takes a number or a list of numbers.")
        return found


def source_of(data: YamlMapping, works: Mapping[str, Work], local: bool = False) -> Source:
    """The source under the key ``source``, marked where it comes from a folder laid over.

    Raises:
        KnowledgeError: it is none, or names a work that is not declared.
    """
    source = data.get("source")
    if not isinstance(source, YamlMapping):
        raise KnowledgeError(data.at("source"), "A source is a mapping.", ("work", "common_practice", "from_memory"))
    if "work" in source:
        check_keys(source, ("work", "section"), ("edition",), KnowledgeError)
        work, edition, section = (text(source, key, KnowledgeError) for key in ("work", "edition", "section"))
        if work not in works:
            raise KnowledgeError(source.at("work"), f"There is no work {work!r} in sources.yaml.", works, got=work)
        return Source(work, edition, section, local=local)
    check_keys(source, (), ("common_practice", "from_memory"), KnowledgeError)
    if len(source) != 1:
        raise KnowledgeError(source.place, "A source is a work, common practice, or memory.")
    for basis in source:
        one_of(source, basis, ("yes", "true"))
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
