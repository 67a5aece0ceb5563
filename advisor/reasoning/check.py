"""Checks of the whole graph: cases, sharpness, conflicts, loose ends. Each finding is one line with its place.

A problem is wrong and has to be mended. A note may be meant: what rests on memory, what the graph knows of but prefers
other things to. What is never chosen is found by a sweep over complete openings, the same ones every time.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import count
from math import isqrt

from advisor.knowledge.conditions import All, AnyOf, Compare, Condition, Needs, Not, facts_read, walk
from advisor.knowledge.graph import KnowledgeGraph
from advisor.knowledge.parts import Arrangement, Case, Item, Rule
from advisor.logic import NO, UNKNOWN, YES
from advisor.reasoning.choose import Chooser
from advisor.reasoning.conflicts import find_conflicts, narrowed_to
from advisor.reasoning.infer import Findings, Judge, State

# Openings of the sweep spread out evenly, and those in reach of each item and arrangement
SPREAD, EACH = 300, 3
# Bits of the fractions by which facts step
BITS = 32
FLIPPED = {"at_least": "more_than", "more_than": "at_least", "at_most": "less_than", "less_than": "at_most"}


def check(judge: Judge) -> Iterator[str]:
    """Everything wrong with the graph beyond what loading refuses, in order of the files."""
    graph = judge.graph
    for _, rule in sorted(graph.rules.items()):
        yield from wrong_cases(judge, rule)
        yield from blunt_parts(judge, rule)
    yield from map(str, find_conflicts(judge))
    yield from loose_ends(graph)
    yield from never_possible(judge)
    yield from table_gaps(judge)


@dataclass(frozen=True, slots=True)
class Note:
    """Something that may be meant. ``kind`` is what notes are counted by."""

    kind: str
    place: str
    text: str

    def __str__(self) -> str:
        return f"{self.place}: {self.text}"


def notes(judge: Judge) -> Iterator[Note]:
    """What is worth a look in the graph but may be as it should, kind by kind."""
    graph = judge.graph
    for _, rule in sorted(graph.rules.items()):
        if rule.source.basis == "from_memory":
            yield Note("rules from memory alone", str(rule.place), f"{rule.sentence!r} rests on memory alone.")
    for _, rule in sorted(graph.rules.items()):
        if rule.source.basis == "common_practice":
            yield Note(
                "rules that cite no work", str(rule.place), f"{rule.sentence!r} is common practice, no work cited."
            )
    had = {name for part in graph.hardware() for name in part.gives}
    for name in sorted(name for name, each in graph.requirements.items() if each.trait and name not in had):
        yield Note("traits nothing has", str(graph.requirements[name].place), f"no item or arrangement is {name!r}.")
    swept = sweep(judge)
    for name, arrangement in sorted(graph.arrangements.items()):
        if not swept.arrangements[name]:
            yield Note(
                "arrangements never chosen",
                str(arrangement.place),
                f"{name!r} is chosen for none of {swept.openings} openings.",
            )
    families = {family for item in graph.items.values() for family in item.is_a}
    for name, item in sorted(graph.items.items()):
        if not swept.items[name] and name not in families:
            yield Note(
                "items never chosen", str(item.place), f"{name!r} is chosen for none of {swept.openings} openings."
            )


@dataclass(frozen=True, slots=True)
class Swept:
    """How many openings were looked at, and how often each arrangement and item was chosen."""

    openings: int
    arrangements: Counter[str] = field(default_factory=Counter)
    items: Counter[str] = field(default_factory=Counter)


def sweep(judge: Judge) -> Swept:
    """The sets of complete openings: some spread evenly over what the facts may be, some in reach of each part."""
    openings = list(spread_out(judge))
    chooser, found = Chooser(judge), Swept(len(openings))
    for opening in openings:
        for _, plan, _ in chooser.choose(judge.infer(opening)).cases:
            found.arrangements.update([plan.arrangement] if plan.arrangement else [])
            found.items.update({pick.item for pick in plan.picks})
    return found


def spread_out(judge: Judge) -> Iterator[State]:
    """Complete openings, the same ones every time.

    Each fact steps through its cells by the square root of a prime of its own, so that they mix. In every other opening
    the facts that have a presumed value keep it: wishes out of the ordinary hide the usual sets. For each rule there is
    one opening more for which it applies, for each item and arrangement there are some where it fits.
    """
    graph = judge.graph
    cells = [[bit for bit, _ in graph.cells[fact].samples(judge.full[at])] for fact, at in graph.fact_index.items()]
    presumed = [graph.mask_presumed(fact) for fact in graph.fact_index]
    steps = [isqrt(prime << 2 * BITS) for prime, _ in zip(_primes(), cells, strict=False)]
    wanted: list[State | None] = [judge.full] * SPREAD
    wanted += [narrowed_to(judge, judge.rule_clause(name).condition) for name in judge.rule_names]
    for part in graph.hardware():
        wanted += [narrowed_to(judge, *([part.fits] if part.fits else []))] * EACH
    for opening, state in enumerate(wanted, 1):
        if state is None:
            continue
        found = []
        for bits, usual, step, left in zip(cells, presumed, steps, state, strict=True):
            bit = usual if usual and opening % 2 else bits[(opening * step & (1 << BITS) - 1) * len(bits) >> BITS]
            found.append(bit if bit & left else next(each for each in bits if each & left))
        yield found


def _primes() -> Iterator[int]:
    found: list[int] = []
    for number in count(2):
        if all(number % prime for prime in found):
            found.append(number)
            yield number


def never_possible(judge: Judge) -> Iterator[str]:
    """Rules and hardware whose conditions no opening fulfils, and rules none of whose cases applies."""
    graph = judge.graph
    for name, rule in sorted(graph.rules.items()):
        if not any(case.expect == "applies" for case in rule.cases):
            yield f"{rule.place}: no case of {rule.sentence!r} reaches it: none expects that it applies."
        if narrowed_to(judge, judge.rule_clause(name).condition) is None:
            yield f"{rule.place}: {rule.sentence!r} applies to no opening at all."
    for part in graph.hardware():
        if part.fits and not _can_fit(judge, part):
            kind = "arrangement" if isinstance(part, Arrangement) else "item"
            yield f"{part.place}: no opening takes the {kind} {part.name!r}."


def _can_fit(judge: Judge, part: Item | Arrangement) -> bool:
    """Whether an opening exists that takes it, for an arrangement together with an item for each of its uses."""
    fits = [part.fits] if part.fits else []
    if isinstance(part, Item):
        return narrowed_to(judge, *fits) is not None
    return all(
        any(
            narrowed_to(judge, *fits, *([item.fits] if item.fits else [])) is not None
            for item in judge.graph.families[use.item]
        )
        for use in part.uses
    )


def wrong_cases(judge: Judge, rule: Rule) -> Iterator[str]:
    """The rule's cases that do not come out as they say."""
    for case in rule.cases:
        said = case_outcome(judge, rule, rule.condition, case)
        if said != case.expect:
            yield f"{case.place}: the case {case.name!r} expects {_say(case.expect)} but it is {_say(said)}."


def case_outcome(judge: Judge, rule: Rule, condition: Condition, case: Case) -> str | tuple[str, ...]:
    """What a case's facts make of a condition together with the rule's exceptions."""
    graph = judge.graph
    lifting = graph.lifted_by[rule.name]
    whole = All((condition, *(Not(exception.condition) for exception in lifting))) if lifting else condition
    state = list(judge.full)
    for fact, possible in case.given.items():
        state[graph.fact_index[fact]] = graph.cells[fact].mask(possible)
    required = [YES if name in case.in_force else NO for name in graph.requirement_index]
    findings = Findings(state, state, [], required, [])
    verdict = judge.truth(whole, findings)
    if verdict == UNKNOWN:
        return tuple(sorted(judge.waits_for(whole, findings)))
    return "applies" if verdict == YES else "does not apply"


def blunt_parts(judge: Judge, rule: Rule) -> Iterator[str]:
    """The changes to the rule's condition that no case notices."""
    for change, condition in changed(judge.graph, rule.condition):
        if all(case_outcome(judge, rule, condition, case) == case.expect for case in rule.cases):
            yield f"{rule.place}: no case of {rule.name!r} notices that {change}."


def changed(graph: KnowledgeGraph, condition: Condition) -> Iterator[tuple[str, Condition]]:
    """Every single change worth noticing: a part dropped or turned round, a value dropped, a threshold moved."""
    if isinstance(condition, Compare | Needs):
        yield f"{_name(condition)} is turned round", Not(condition)
    if isinstance(condition, Compare):
        for choice in sorted(condition.choices) if len(condition.choices) > 1 else ():
            yield f"{condition.fact}: {choice} is left out", replace(condition, choices=condition.choices - {choice})
        for number, (bound, limit) in enumerate(condition.bounds):
            if len(condition.bounds) > 1:
                others = tuple(entry for place, entry in enumerate(condition.bounds) if place != number)
                yield f"{condition.fact}: {bound} {limit} is left out", replace(condition, bounds=others)
            for words, moved in _moved(graph, condition.fact, bound, limit):
                bounds = tuple(moved if place == number else entry for place, entry in enumerate(condition.bounds))
                yield f"{condition.fact}: {bound} {limit} becomes {words}", replace(condition, bounds=bounds)
    elif isinstance(condition, Not):
        yield "a 'not' is left out", condition.part
        for words, part in changed(graph, condition.part):
            yield words, Not(part)
    elif isinstance(condition, All | AnyOf):
        joined = type(condition)
        for number, part in enumerate(condition.parts):
            rest = condition.parts[:number] + condition.parts[number + 1 :]
            yield f"{_name(part)} is left out", rest[0] if len(rest) == 1 else joined(rest)
            for words, new in changed(graph, part):
                yield words, joined((*condition.parts[:number], new, *condition.parts[number + 1 :]))


def _moved(graph: KnowledgeGraph, fact: str, bound: str, limit: Fraction) -> Iterator[tuple[str, tuple[str, Fraction]]]:
    """The threshold moved to the next declared step, or its edge turned from in to out, where that means something."""
    kind = graph.kinds[fact]
    if kind.kind == "steps":
        steps = [Fraction(choice) for choice in kind.choices]
        for step in (
            max((s for s in steps if s < limit), default=None),
            min((s for s in steps if s > limit), default=None),
        ):
            if step is not None:
                yield f"{bound} {step}", (bound, step)
        return
    if (bound in ("at_least", "less_than") and limit != kind.low) or (bound in ("more_than", "at_most")):
        yield f"{FLIPPED[bound]} {limit}", (FLIPPED[bound], limit)


def _name(condition: Condition) -> str:
    if isinstance(condition, Compare):
        return condition.fact
    if isinstance(condition, Needs):
        return f"needs {condition.requirement}"
    return "the part reading " + ", ".join(sorted(facts_read(condition)))


def _say(expect: str | tuple[str, ...]) -> str:
    return expect if isinstance(expect, str) else "open on " + ", ".join(expect)


def loose_ends(graph: KnowledgeGraph) -> Iterator[str]:
    """Facts nobody reads, requirements nobody imposes or nothing meets, items nothing needs."""
    read = {part.fact for condition in graph.conditions for part in walk(condition) if isinstance(part, Compare)}
    for kind in graph.kinds.values():
        if kind.name not in read and kind.topic != "ordering":
            yield f"knowledge_graph/facts.yaml: no rule, item or table reads the fact {kind.name!r}."
    given = {name for item in graph.items.values() for name in item.gives}
    given |= {name for arrangement in graph.arrangements.values() for name in arrangement.gives}
    for requirement in graph.requirements.values():
        imposed = requirement.name in graph.forbidding or requirement.name in graph.requiring
        if not imposed:
            yield f"{requirement.place}: no rule imposes {requirement.name!r}."
        met = requirement.name in given or requirement.met_by_nothing or requirement.listed
        if not met and not requirement.trait:
            yield f"{requirement.place}: nothing meets {requirement.name!r}."
    brought = {companion.item for item in graph.items.values() for companion in item.brings}
    for arrangement in graph.arrangements.values():
        brought |= {companion.item for companion in arrangement.brings} | {use.item for use in arrangement.uses}
    families = {family for item in graph.items.values() for family in item.is_a}
    for item in graph.items.values():
        chosen = item.alone and any(not graph.requirements[name].trait for name in item.gives)
        if not chosen and item.name not in families and not any(graph.is_a(item.name, name) for name in brought):
            yield f"{item.place}: nothing needs the item {item.name!r}."


def table_gaps(judge: Judge) -> Iterator[str]:
    """Values of a table's fact for which no row, or more than one, holds; tables of several facts are left out."""
    for table in judge.graph.tables.values():
        facts = {fact for row in table.rows for fact in facts_read(row.when)}
        if len(facts) != 1:
            continue
        fact = facts.pop()
        at = judge.graph.fact_index[fact]
        for bit, possible in judge.graph.cells[fact].samples(judge.full[at]):
            state = list(judge.full)
            state[at] = bit
            findings = Findings(state, state, [], [NO] * len(judge.graph.requirement_index), [])
            holding = sum(judge.truth(row.when, findings) == YES for row in table.rows)
            if holding != 1:
                yield f"{table.place}: {holding} rows hold for {fact} {possible}."
