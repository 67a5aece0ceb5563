"""The knowledge files as answer-set programs for clingo: a second judge that shares no code with the advisor.

The YAML files are read here anew, every scalar as the text that was written. Facts become atoms ``f(fact,cell)``: a
choice is a cell, and a quantity falls into cells at every number any condition, table or presumption names. Conditions
become atoms ``c(n)``; rules, requirements and prohibitions follow from them by plain derivation. The set is an ordered
choice: solver decisions are made in the order of the trade's preference, and what is found first is the best.
"""

from __future__ import annotations

import json
import random
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import clingo
import yaml

EFFECTS = ("requires", "forbids", "lifts", "implies", "cautions")
STAGES = ("hanging", "securing", "closing", "sealing", "stopping", "protecting", "silencing")
TWO_LEAVES = ("pair", "unequal_pair", "double_egress_pair")
COUNTED = ("people", "stories", "A")
DEEPEST = 6

Cell = tuple[Fraction | None, Fraction | None] | str
Value = Fraction | str
Condition = tuple[Any, ...]


def number(text: str) -> Fraction:
    """``34 13/16``, ``1-3/4``, ``3/4``, ``41.5`` and ``90`` as exact numbers."""
    parts = text.replace("-", " ").split()
    return sum((Fraction(part) for part in parts), Fraction(0))


def listed(data: Any) -> list[Any]:
    """One entry or several, as a list."""
    if data is None:
        return []
    return list(data) if isinstance(data, list) else [data]


def flag(data: Mapping[str, Any], key: str, default: bool = False) -> bool:
    return data[key] in ("yes", "true") if key in data else default


def quoted(text: str) -> str:
    return json.dumps(text)


def within(bounds: Mapping[str, Fraction], value: Fraction) -> bool:
    """Whether a number keeps every bound."""
    return (
        ("at_least" not in bounds or value >= bounds["at_least"])
        and ("more_than" not in bounds or value > bounds["more_than"])
        and ("at_most" not in bounds or value <= bounds["at_most"])
        and ("less_than" not in bounds or value < bounds["less_than"])
    )


@dataclass(frozen=True)
class Fact:
    """A fact and its cells in order; of a quantity a cell is a point (equal ends) or the open stretch between two."""

    name: str
    cells: tuple[Cell, ...]
    values: tuple[Value, ...]
    presumed: int | None
    quantity: bool

    def cell(self, value: Value) -> int:
        """The number of the cell that holds a value."""
        if isinstance(value, str):
            return self.cells.index(value)
        for at, cell in enumerate(self.cells):
            assert not isinstance(cell, str)
            low, high = cell
            above, below = low is None or low < value, high is None or value < high
            if value == low == high or (above and below):
                return at
        raise ValueError(f"{self.name} can't be {value}")


@dataclass(frozen=True)
class Companion:
    item: str
    on: str
    when: Condition | None
    quantity: int


@dataclass(frozen=True)
class Part:
    """An item or an arrangement; ``uses`` only of arrangements."""

    name: str
    order: tuple[Any, ...]
    gives: tuple[str, ...]
    fits: Condition | None
    brings: tuple[Companion, ...]
    clashes: tuple[str, ...]
    alone: bool
    quantity: str
    uses: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Rule:
    name: str
    effect: str
    targets: tuple[str, ...]
    when: Condition
    implied: Condition | None


class Files:
    """What a knowledge folder says, read by itself."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.raw_facts: dict[str, Any] = self._read(folder / "facts.yaml")
        self.requirements: dict[str, Any] = self._read(folder / "requirements.yaml")
        self.rules = {rule.name: rule for rule in self._rules()}
        self.items: dict[str, Part] = {}
        for path in sorted((folder / "items").rglob("*.yaml")):
            for name, data in self._read(path).items():
                assert name not in self.items
                self.items[name] = self._part(name, data)
        self.parents = {
            name: listed(data.get("is_a"))
            for path in sorted((folder / "items").rglob("*.yaml"))
            for name, data in self._read(path).items()
        }
        self.arrangements = {
            path.stem: self._part(path.stem, self._read(path)) for path in sorted(folder.glob("arrangements/*.yaml"))
        }
        tables = {path.stem: self._read(path) for path in sorted(folder.glob("tables/*.yaml"))}
        self.tables = {
            name: [(self.condition(row["when"]), row["value"]) for row in data["rows"]]
            for name, data in tables.items()
            if "rows" in data
        }
        self.facts = {name: self._fact(name, data) for name, data in sorted(self.raw_facts.items())}
        self.lifting = {
            name: [rule for rule in self.rules.values() if rule.effect == "lifts" and name in rule.targets]
            for name in self.rules
        }

    @staticmethod
    def _read(path: Path) -> dict[str, Any]:
        loader = getattr(yaml, "CBaseLoader", yaml.BaseLoader)
        data = yaml.load(path.read_text("utf-8"), Loader=loader)
        assert isinstance(data, dict)
        return data

    def _rules(self) -> Iterator[Rule]:
        for path in sorted((self.folder / "rules").rglob("*.yaml")):
            data = self._read(path)
            (effect,) = (each for each in EFFECTS if each in data)
            when = self.condition(data["when"])
            if "editions" in data:
                when = ("all", when, ("is", "code", frozenset(self._finest("code", listed(data["editions"])))))
            name = str(path.relative_to(self.folder / "rules").with_suffix(""))
            implied = self.condition(data["implies"]) if effect == "implies" else None
            targets = () if implied else tuple(listed(data[effect]))
            yield Rule(name, effect, targets, when, implied)

    def _part(self, name: str, data: Mapping[str, Any]) -> Part:
        brings = []
        for entry in listed(data.get("brings")):
            each = {"item": entry} if isinstance(entry, str) else entry
            when = self.condition(each["when"]) if "when" in each else None
            brings.append(Companion(each["item"], each.get("on", "opening"), when, int(each.get("quantity", "1"))))
        return Part(
            name=name,
            order=(flag(data, "by_listing"), int(data.get("moving_parts", "1")), int(data.get("cost", "1")), name),
            gives=tuple(listed(data.get("gives"))),
            fits=self.condition(data["fits"]) if "fits" in data else None,
            brings=tuple(brings),
            clashes=tuple(listed(data.get("clashes"))),
            alone=flag(data, "alone", True),
            quantity=data.get("quantity", "1"),
            uses=tuple((use["item"], use["on"]) for use in data.get("uses", ())),
        )

    def _finest(self, fact: str, values: Iterable[str]) -> list[str]:
        raw = self.raw_facts[fact]
        kinds = raw.get("kinds", {})
        found = [finest for value in values for finest in kinds.get(value, [value])]
        assert set(found) <= set(self._choices(fact)), (fact, found)
        return found

    def _choices(self, fact: str) -> list[str]:
        raw = self.raw_facts[fact]
        return ["no", "yes"] if raw["kind"] == "yes_no" else list(raw["choices"])

    def condition(self, data: Mapping[str, Any]) -> Condition:
        """A condition as nested tuples: ``all``, ``any``, ``not``, ``needs``, ``is`` (choices), ``in`` (bounds)."""
        parts: list[Condition] = []
        for key, value in data.items():
            if key in ("all", "any"):
                parts.append((key, *(self.condition(each) for each in value)))
            elif key == "not":
                parts.append(("not", self.condition(value)))
            elif key == "needs":
                parts.append(("needs", value))
            elif isinstance(value, dict):
                parts.append(("in", key, tuple(sorted((bound, number(text)) for bound, text in value.items()))))
            elif self.raw_facts[key]["kind"] == "quantity":
                parts.append(("in", key, (("at_least", number(value)), ("at_most", number(value)))))
            else:
                parts.append(("is", key, frozenset(self._finest(key, listed(value)))))
        assert parts
        return parts[0] if len(parts) == 1 else ("all", *parts)

    def _conditions(self) -> Iterator[Condition]:
        for rule in self.rules.values():
            yield rule.when
            if rule.implied:
                yield rule.implied
        for part in (*self.items.values(), *self.arrangements.values()):
            if part.fits:
                yield part.fits
            yield from (companion.when for companion in part.brings if companion.when)
        for rows in self.tables.values():
            yield from (when for when, _ in rows)

    def _numbers(self, fact: str) -> set[Fraction]:
        found: set[Fraction] = set()
        left = list(self._conditions())
        while left:
            condition = left.pop()
            if condition[0] in ("all", "any", "not"):
                left += condition[1:]
            elif condition[0] == "in" and condition[1] == fact:
                found |= {limit for _, limit in condition[2]}
        return found

    def _fact(self, name: str, raw: Mapping[str, Any]) -> Fact:
        presumed = raw.get("presumed")
        if raw["kind"] != "quantity":
            choices = tuple(self._choices(name))
            return Fact(name, choices, choices, choices.index(presumed) if presumed else None, quantity=False)
        ends = [number(raw[key]) if key in raw else None for key in ("low", "high")]
        points = self._numbers(name) | {end for end in ends if end is not None}
        if presumed:
            points.add(number(presumed))
        whole = raw.get("unit") in COUNTED
        cells: list[Cell] = []
        values: list[Value] = []
        before: Fraction | None = None
        for point in [*sorted(points), None]:
            inside = self._between(before, point, whole)
            if inside is not None and self._allowed(inside, *ends):
                cells.append((before, point))
                values.append(inside)
            if point is not None and self._allowed(point, *ends):
                cells.append((point, point))
                values.append(point)
            before = point
        fact = Fact(name, tuple(cells), tuple(values), None, quantity=True)
        return Fact(name, fact.cells, fact.values, fact.cell(number(presumed)), quantity=True) if presumed else fact

    @staticmethod
    def _allowed(value: Fraction, low: Fraction | None, high: Fraction | None) -> bool:
        return (low is None or value >= low) and (high is None or value <= high)

    @staticmethod
    def _between(low: Fraction | None, high: Fraction | None, whole: bool) -> Fraction | None:
        if low is None or high is None:
            known = low if high is None else high
            assert known is not None
            return known + (1 if high is None else -1)
        if not whole:
            return (low + high) / 2
        following = Fraction(low.numerator // low.denominator + 1)
        return following if following < high else None

    def is_a(self, item: str, family: str) -> bool:
        return item == family or any(self.is_a(parent, family) for parent in self.parents.get(item, ()))

    def members(self, family: str) -> list[Part]:
        """What a family stands for, the preferred first; a family that doesn't stand alone is no item."""
        families = {parent for parents in self.parents.values() for parent in parents}
        names = {item.name for item in self.items.values() if not item.alone} & families
        found = [item for item in self.items.values() if item.name not in names and self.is_a(item.name, family)]
        return sorted(found, key=lambda item: item.order)

    def meeting(self, requirement: str) -> list[Part]:
        """The items that may stand alone and meet a requirement, the preferred first."""
        found = [item for item in self.items.values() if item.alone and requirement in item.gives]
        return sorted(found, key=lambda item: item.order)

    def slots(self) -> list[str]:
        """The requirements an item or a specialist has to answer, in the order they are met."""
        asked = [
            (STAGES.index(data["stage"]), name)
            for name, data in self.requirements.items()
            if not flag(data, "trait") and not flag(data, "listed")
        ]
        return [name for _, name in sorted(asked)]

    def cells_where(self, condition: Condition) -> list[int]:
        """The cells of its fact in which a comparison holds."""
        kind, name, admitted = condition
        fact = self.facts[name]
        if kind == "is":
            return [at for at, value in enumerate(fact.values) if value in admitted]
        return [at for at, value in enumerate(fact.values) if within(dict(admitted), Fraction(value))]


class Program:
    """Text of an answer-set program that grows condition by condition."""

    def __init__(self, files: Files) -> None:
        self.files = files
        self.lines: list[str] = []
        self._known: dict[Condition, str] = {}

    def say(self, line: str) -> None:
        self.lines.append(line)

    def holds(self, condition: Condition | None) -> str:
        """The atom that stands for a condition."""
        if condition is None:
            return "#true"
        if condition[0] == "needs":
            return f"required({quoted(condition[1])})"
        if condition not in self._known:
            atom = f"c({len(self._known)})"
            self._known[condition] = atom
            if condition[0] == "all":
                self.say(f"{atom} :- {', '.join(self.holds(part) for part in condition[1:])}.")
            elif condition[0] == "any":
                for part in condition[1:]:
                    self.say(f"{atom} :- {self.holds(part)}.")
            elif condition[0] == "not":
                self.say(f"{atom} :- not {self.holds(condition[1])}.")
            else:
                for cell in self.files.cells_where(condition):
                    self.say(f"{atom} :- f({quoted(condition[1])},{cell}).")
        return self._known[condition]

    def facts(self) -> None:
        """Every fact has exactly one cell."""
        for fact in self.files.facts.values():
            cells = "; ".join(f"f({quoted(fact.name)},{at})" for at in range(len(fact.cells)))
            self.say(f"1 {{ {cells} }} 1.")

    def rules(self) -> None:
        """What applies, what is required and what is forbidden."""
        for rule in self.files.rules.values():
            body = [self.holds(rule.when), *(f"not {self.holds(each.when)}" for each in self.files.lifting[rule.name])]
            self.say(f"applies({quoted(rule.name)}) :- {', '.join(body)}.")
            if rule.effect in ("requires", "forbids"):
                atom = "required" if rule.effect == "requires" else "forbidden"
                for target in rule.targets:
                    self.say(f"{atom}({quoted(target)}) :- applies({quoted(rule.name)}).")

    def control(self, *options: str) -> clingo.Control:
        control = clingo.Control(["--warn=no-atom-undefined", *options])
        control.add("base", [], "\n".join(self.lines))
        control.ground([("base", [])])
        return control


def literal_of(control: clingo.Control, name: str, *arguments: int | str) -> int:
    """An atom's literal; 0 where it can never hold."""
    made = [clingo.Number(each) if isinstance(each, int) else clingo.String(each) for each in arguments]
    atom = control.symbolic_atoms[clingo.Function(name, made)]
    return atom.literal if atom else 0


@dataclass(frozen=True)
class Verdicts:
    """The rules that apply and the requirements required and forbidden."""

    rules: frozenset[str]
    required: frozenset[str]
    forbidden: frozenset[str]


class Reader:
    """Reads the verdicts off a control's models."""

    def __init__(self, files: Files, control: clingo.Control) -> None:
        self._atoms = {
            kind: [(name, literal) for name in names if (literal := literal_of(control, kind, name))]
            for kind, names in (
                ("applies", files.rules),
                ("required", files.requirements),
                ("forbidden", files.requirements),
            )
        }

    def read(self, holds: Callable[[int], bool]) -> Verdicts:
        found = {
            kind: frozenset(name for name, literal in atoms if holds(literal)) for kind, atoms in self._atoms.items()
        }
        return Verdicts(found["applies"], found["required"], found["forbidden"])


class _Given:
    """Assumptions that leave each fact some of its cells."""

    def __init__(self, files: Files, control: clingo.Control, atom: str = "f") -> None:
        self._literals = {
            fact.name: [literal_of(control, atom, fact.name, at) for at in range(len(fact.cells))]
            for fact in files.facts.values()
        }

    def excluding(self, left: Mapping[str, frozenset[int]]) -> list[int]:
        return [
            -literal
            for fact, literals in self._literals.items()
            for at, literal in enumerate(literals)
            if at not in left[fact]
        ]

    def exactly(self, left: Mapping[str, frozenset[int]]) -> list[int]:
        including = [
            literal
            for fact, literals in self._literals.items()
            for at, literal in enumerate(literals)
            if at in left[fact]
        ]
        return [*including, *self.excluding(left)]


Left = Mapping[str, frozenset[int]]


class Consequences:
    """What follows in some completion (brave) and in all (cautious) of what is left of each fact."""

    def __init__(self, files: Files) -> None:
        program = Program(files)
        program.facts()
        program.rules()
        for kind in ("applies", "required", "forbidden"):
            program.say(f"#show {kind}/1.")
        self._control = program.control()
        self._given = _Given(files, self._control)

    def of(self, left: Left) -> tuple[Verdicts, Verdicts]:
        """Brave and cautious consequences."""
        return self._enumerated(left, "brave"), self._enumerated(left, "cautious")

    def _enumerated(self, left: Left, mode: str) -> Verdicts:
        self._control.configuration.solve.enum_mode = mode  # type: ignore[union-attr]
        self._control.configuration.solve.models = 0  # type: ignore[union-attr]
        last: list[clingo.Symbol] | None = None
        with self._control.solve(assumptions=self._given.excluding(left), yield_=True) as handle:
            for model in handle:
                last = list(model.symbols(shown=True))
        assert last is not None, "no completion"
        names: dict[str, set[str]] = {"applies": set(), "required": set(), "forbidden": set()}
        for symbol in last:
            names[symbol.name].add(symbol.arguments[0].string)
        return Verdicts(*(frozenset(names[kind]) for kind in ("applies", "required", "forbidden")))


class Implications:
    """What is left of each fact after implications and presumptions, from what was said of it.

    Each condition has two atoms: ``p`` (it may hold) and ``n`` (it may fail).
    """

    def __init__(self, files: Files) -> None:
        self.files = files
        self._known: dict[Condition, int] = {}
        self._lines: list[str] = []
        say = self._lines.append
        for fact in files.facts.values():
            for at in range(len(fact.cells)):
                say(f"cell({quoted(fact.name)},{at}). {{ said({quoted(fact.name)},{at}) }}.")
            if fact.presumed is not None:
                say(f"presumed({quoted(fact.name)},{fact.presumed}).")
        for rule in files.rules.values():
            if rule.effect == "implies":
                assert rule.implied
                lifted = [("not", each.when) for each in files.lifting[rule.name]]
                at = self._condition(("all", rule.when, *lifted))
                fact = quoted(rule.implied[1])
                say(f"implies({at},{fact}).")
                for cell in files.cells_where(rule.implied):
                    say(f"admits({at},{fact},{cell}).")
        say("""
            cut(F,V) :- implies(R,F), p(R), not n(R), cell(F,V), not admits(R,F,V).
            some(F) :- said(F,V), not cut(F,V).
            narrowed(F) :- said(F,V), cut(F,V), some(F).
            heard(F) :- cell(F,V), not said(F,V).
            presume(F) :- presumed(F,_), not heard(F), not narrowed(F).
            left(F,V) :- presumed(F,V), presume(F).
            left(F,V) :- presume(F), implies(R,F), p(R), n(R), admits(R,F,V).
            left(F,V) :- said(F,V), not presume(F), not cut(F,V).
            left(F,V) :- said(F,V), not presume(F), not some(F).
        """)
        self._control = clingo.Control()
        self._control.add("base", [], "\n".join(self._lines))
        self._control.ground([("base", [])])
        self._given = _Given(files, self._control, "said")
        self._left = {
            fact.name: [literal_of(self._control, "left", fact.name, at) for at in range(len(fact.cells))]
            for fact in files.facts.values()
        }

    def _condition(self, condition: Condition) -> int:
        if condition in self._known:
            return self._known[condition]
        kind, *parts = condition
        assert kind != "needs", "an implication reads no requirement"
        compared = kind in ("is", "in")
        numbers = [] if compared else [self._condition(part) for part in parts]
        at = self._known.setdefault(condition, len(self._known))
        say = self._lines.append
        if compared:
            inside, fact = self.files.cells_where(condition), condition[1]
            for cell in range(len(self.files.facts[fact].cells)):
                say(f"{'p' if cell in inside else 'n'}({at}) :- left({quoted(fact)},{cell}).")
        elif kind == "not":
            say(f"p({at}) :- n({numbers[0]}). n({at}) :- p({numbers[0]}).")
        else:
            every, one = ("p", "n") if kind == "all" else ("n", "p")
            say(f"{every}({at}) :- {', '.join(f'{every}({part})' for part in numbers)}.")
            for part in numbers:
                say(f"{one}({at}) :- {one}({part}).")
        return at

    def left(self, said: Left) -> dict[str, frozenset[int]]:
        found: dict[str, frozenset[int]] = {}
        with self._control.solve(assumptions=self._given.exactly(said), yield_=True) as handle:
            for model in handle:
                found = {
                    fact: frozenset(at for at, literal in enumerate(literals) if literal and model.is_true(literal))
                    for fact, literals in self._left.items()
                }
        assert found
        return found


@dataclass(frozen=True)
class BestSet:
    """The set: its arrangement, its lines (leaf, item, how many), and what is listed as unmet, in order."""

    arrangement: str | None
    lines: frozenset[tuple[str, str, int]]
    unmet: tuple[str, ...]
    strict: bool


SETS = """
leaf(active). leaf(inactive) :- two_leaves.
place(S,opening) :- on(S,opening).
place(S,L) :- on(S,each), leaf(L).
place(S,L) :- on(S,L), leaf(L).
barred(I) :- gives(I,R), forbidden(R).
usable(I) :- item(I), fits(I), not barred(I).
allowed(A) :- arrangement(A), fits(A), not barred(A).

1 { chosen(A) : arrangement(A); chosen(none) } 1.
:- chosen(A), arrangement(A), not allowed(A).

skip(N) :- task(N,F,inactive,_), not leaf(inactive).
skip(N) :- brought(N), task(N,F,L,_), pick(M,I), M < N, member(F,I), shown(M,L).
1 { pick(N,I) : member(F,I) } 1 :- task(N,F,_,_), not skip(N).
shown(N,L) :- task(N,_,L,_), L != each.
shown(N,each) :- task(N,_,each,_), leaf(inactive).
shown(N,active) :- task(N,_,each,_), not leaf(inactive).
:- pick(_,I), not usable(I).
:- pick(_,I), chosen(A), excludes(A,I).
:- pick(N,I), pick(M,J), N < M, excludes(I,J).
:- pick(N,I), pick(M,J), N < M, excludes(J,I).

has(S,P) :- chosen(A), gives(A,S), place(S,P).
has(S,P) :- pick(N,I), gives(I,S), slot(S,M), N < M, task(N,_,L,_), place(S,P), reaches(L,P).
reaches(L,opening) :- on_leaf(L).
reaches(each,P) :- leaf(P).
reaches(opening,P) :- leaf(P).
reaches(P,P) :- leaf(P).
on_leaf(opening;each;active;inactive).
missing(S,P) :- required(S), slot(S,_), place(S,P), not has(S,P).
{ forgone(S) } :- missing(S,_), not met_by_nothing(S).
1 { most_forgone(0..N) } 1 :- N = #count { S : slot(S,_) }.
:- most_forgone(N), N + 1 { forgone(S) }.
try(S) :- missing(S,_), not met_by_nothing(S), not forgone(S).
unmet(S) :- missing(S,_), not try(S).
task(M,meeting(S),each,1) :- slot(S,M), try(S), missing(S,active), missing(S,inactive).
task(M,meeting(S),P,1) :- slot(S,M), try(S), missing(S,P), #count { Q : missing(S,Q) } = 1.
member(meeting(S),I) :- meets(S,I).
"""


class Sets:
    """The best set of a complete opening: the fewest demands forgone, then the arrangement preferred (none last),
    then the combination a step-by-step search would find first, which forgoes a demand after trying every item for it.

    A *task* is a place in the search where an item of a family is chosen: the arrangement's uses and companions, then
    the requirements; what an item brings along follows it at once. Tasks are numbered in the order they come up, so
    that an ordered choice by (task, preference) comes upon that combination, given how many demands may be forgone.
    """

    def __init__(self, files: Files, by_optimising: bool = False) -> None:
        self.files = files
        self.by_optimising = by_optimising
        self.program = program = Program(files)
        program.facts()
        program.rules()
        self.rank = {part.name: at for at, part in enumerate(sorted(files.items.values(), key=lambda part: part.order))}
        self.arrangements = [part.name for part in sorted(files.arrangements.values(), key=lambda part: part.order)]
        self.slots = files.slots()
        self._tasks = 0
        self._picks: list[tuple[int, str]] = []
        self._slot_tasks: dict[str, int] = {}
        self._families: set[str] = set()
        self._declare()
        self._order_uses()
        self._order_slots()
        self._say_families()
        program.say(SETS)
        self._say_preference()
        options = ["--opt-mode=opt"] if by_optimising else ["--heuristic=Domain"]
        self._control = program.control(*options)
        self._reader = Reader(files, self._control)
        self._given = _Given(files, self._control)
        self._most_forgone = [literal_of(self._control, "most_forgone", at) for at in range(len(self.slots) + 1)]
        self._chosen = {name: self._literal("chosen", name) for name in self.arrangements}
        self._forgone = [self._literal("forgone", name) for name in self.slots]
        self._unmet = {name: self._literal("unmet", name) for name in self.slots}
        self._pick_literals = [
            (atom.symbol.arguments[0].number, atom.symbol.arguments[1].string, atom.literal)
            for atom in self._control.symbolic_atoms.by_signature("pick", 2)
        ]
        self._task_literals: dict[int, list[tuple[str, int, int]]] = {}
        for atom in self._control.symbolic_atoms.by_signature("task", 4):
            task, _, leaf, quantity = atom.symbol.arguments
            self._task_literals.setdefault(task.number, []).append((leaf.name, quantity.number, atom.literal))
        self._rows = {
            name: [(self._atom(atom), int(value)) for atom, value in rows] for name, rows in self._row_atoms.items()
        }
        self._two = literal_of(self._control, "two_leaves")

    def _literal(self, name: str, argument: str) -> int:
        return literal_of(self._control, name, argument)

    def _atom(self, text: str) -> int:
        atom = self._control.symbolic_atoms[clingo.parse_term(text)]
        return atom.literal if atom else 0

    def _declare(self) -> None:
        files, program = self.files, self.program
        program.say(f"two_leaves :- {program.holds(('is', 'leaves', frozenset(TWO_LEAVES)))}.")
        for name, data in files.requirements.items():
            program.say(f"on({quoted(name)},{data['on']}).")
            if flag(data, "met_by_nothing"):
                program.say(f"met_by_nothing({quoted(name)}).")
        for kind, parts in (("item", files.items), ("arrangement", files.arrangements)):
            for part in parts.values():
                name = quoted(part.name)
                program.say(f"{kind}({name}). fits({name}) :- {program.holds(part.fits)}.")
                for given in part.gives:
                    program.say(f"gives({name},{quoted(given)}).")
                for other in files.items:
                    if any(files.is_a(other, clash) for clash in part.clashes):
                        program.say(f"excludes({name},{quoted(other)}).")
        assert not set(files.items) & set(files.arrangements)
        sized = {item.quantity for item in files.items.values() if not item.quantity.isdigit()}
        self._row_atoms = {
            name: [(program.holds(when), value) for when, value in files.tables[name]] for name in sorted(sized)
        }

    def _task(self, parts: Iterable[Part], depth: int = 0) -> int:
        """A new task that may choose one of these items, and the tasks of all they bring along."""
        assert depth < DEEPEST, "items bring each other along without end"
        number, self._tasks = self._tasks, self._tasks + 1
        ordered = sorted(parts, key=lambda part: part.order)
        self._picks += [(number, item.name) for item in ordered]
        for item in ordered:
            for companion in item.brings:
                self._families.add(companion.item)
                child = self._task(self.files.members(companion.item), depth + 1)
                self.program.say(f"brought({child}).")
                head = f"task({child},{quoted(companion.item)}"
                body = f"pick({number},{quoted(item.name)}), {self.program.holds(companion.when)}"
                if companion.on == "each":
                    self.program.say(f"{head},L,{companion.quantity}) :- {body}, task({number},_,L,_), leaf(L).")
                    self.program.say(
                        f"{head},each,{companion.quantity}) :- {body}, task({number},_,L,_), on_leaf(L), not leaf(L)."
                    )
                else:
                    self.program.say(f"{head},{companion.on},{companion.quantity}) :- {body}.")
        return number

    def _order_uses(self) -> None:
        wanted: dict[int, list[tuple[str, Companion]]] = {}
        for name in self.arrangements:
            part = self.files.arrangements[name]
            entries = [*(Companion(item, on, None, 1) for item, on in part.uses), *part.brings]
            for at, entry in enumerate(entries):
                wanted.setdefault(at, []).append((name, entry))
        for _, entries_at in sorted(wanted.items()):
            families = {entry.item for _, entry in entries_at}
            self._families |= families
            parts = {item.name: item for family in sorted(families) for item in self.files.members(family)}
            number = self._task(parts.values())
            for name, entry in entries_at:
                self.program.say(
                    f"task({number},{quoted(entry.item)},{entry.on},{entry.quantity}) :- "
                    f"chosen({quoted(name)}), {self.program.holds(entry.when)}."
                )

    def _order_slots(self) -> None:
        for name in self.slots:
            parts = self.files.meeting(name)
            number = self._task(parts)
            self._slot_tasks[name] = number
            self.program.say(f"slot({quoted(name)},{number}).")
            for part in parts:
                self.program.say(f"meets({quoted(name)},{quoted(part.name)}).")

    def _say_families(self) -> None:
        for family in sorted(self._families):
            for item in self.files.members(family):
                self.program.say(f"member({quoted(family)},{quoted(item.name)}).")

    def _say_preference(self) -> None:
        if self.by_optimising:
            self.program.say(f":~ forgone(S). [1@{self._tasks + 2},S]")
            for at, name in enumerate((*map(quoted, self.arrangements), "none")):
                self.program.say(f":~ chosen({name}). [{at}@{self._tasks + 1}]")
            for task, item in self._picks:
                self.program.say(f":~ pick({task},{quoted(item)}). [{self.rank[item]}@{self._tasks - task},{task}]")
            for name, task in self._slot_tasks.items():
                self.program.say(f":~ forgone({quoted(name)}). [{len(self.rank)}@{self._tasks - task},{task}]")
            return
        order = [*(f"chosen({quoted(name)})" for name in self.arrangements)]
        order += [f"pick({task},{quoted(item)})" for task, item in self._picks]
        assert len(order) < 32_000, "clasp counts levels in sixteen bits"
        for at, atom in enumerate(order):
            self.program.say(f"#heuristic {atom}. [{len(order) - at},true]")

    def best(self, cells: Left) -> tuple[BestSet, Verdicts]:
        """The best set of a complete opening, and the verdicts it rests on."""
        given = self._given.exactly(cells)
        for most in self._most_forgone[-1:] if self.by_optimising else self._most_forgone:
            found = self._first([*given, most])
            if found:
                return found
        raise AssertionError("not even with everything forgone")

    def _first(self, assumptions: Sequence[int]) -> tuple[BestSet, Verdicts] | None:
        found: tuple[BestSet, Verdicts] | None = None
        with self._control.solve(assumptions=assumptions, yield_=True) as handle:
            for model in handle:
                found = self._read(model), self._reader.read(model.is_true)
                if not self.by_optimising:
                    break
        return found

    def _read(self, model: clingo.Model) -> BestSet:
        lines: dict[tuple[str, str], int] = {}
        leaves = 2 if model.is_true(self._two) else 1
        for task, item, literal in self._pick_literals:
            if not model.is_true(literal):
                continue
            tasks = self._task_literals[task]
            ((leaf, quantity),) = {(leaf, count) for leaf, count, literal in tasks if model.is_true(literal)}
            count = self._count(item, model) * quantity * (leaves if leaf == "each" else 1)
            shown = "active" if leaf == "each" and leaves == 1 else leaf
            lines[shown, item] = max(count, lines.get((shown, item), 0))
        chosen = [name for name, literal in self._chosen.items() if literal and model.is_true(literal)]
        return BestSet(
            arrangement=chosen[0] if chosen else None,
            lines=frozenset((leaf, item, count) for (leaf, item), count in lines.items()),
            unmet=tuple(name for name, literal in self._unmet.items() if literal and model.is_true(literal)),
            strict=bool(chosen) and not any(literal and model.is_true(literal) for literal in self._forgone),
        )

    def _count(self, item: str, model: clingo.Model) -> int:
        quantity = self.files.items[item].quantity
        if quantity.isdigit():
            return int(quantity)
        return next(value for literal, value in self._rows[quantity] if literal and model.is_true(literal))


class Draws:
    """Seeded random openings as the number of a cell for each fact."""

    def __init__(self, files: Files, usual: Mapping[str, str], seed: int) -> None:
        self.files, self.random = files, random.Random(seed)
        self.usual = {
            fact.name: fact.cell(number(usual[fact.name]) if fact.quantity else usual[fact.name])
            if fact.name in usual
            else (fact.presumed or 0)
            for fact in files.facts.values()
        }

    def any_cell(self, fact: str) -> int:
        return self.random.randrange(len(self.files.facts[fact].cells))

    def opening(self, plausible: bool) -> dict[str, int]:
        """Every fact drawn by itself, or the usual opening with the leaves, the room and two to ten facts drawn."""
        if not plausible:
            return {fact: self.any_cell(fact) for fact in self.files.facts}
        drawn = {"leaves", "room_use", *self.random.sample(sorted(self.files.facts), self.random.randint(2, 10))}
        return {fact: self.any_cell(fact) if fact in drawn else usual for fact, usual in self.usual.items()}

    def partly(self, opening: Mapping[str, int]) -> dict[str, frozenset[int]]:
        """What was said of an opening: some facts wholly, some narrowed to cells in a row, the rest not at all."""
        said = {name: frozenset(range(len(fact.cells))) for name, fact in self.files.facts.items()}
        for name in self.random.sample(sorted(opening), self.random.randint(2, len(opening) - 1)):
            first = last = opening[name]
            if self.random.random() < 0.2:
                first = self.random.randint(0, first)
                last = self.random.randint(last, len(said[name]) - 1)
            said[name] = frozenset(range(first, last + 1))
        return said
