"""From requirements to a set: the arrangement and the items that meet everything in force.

The choice is exact and depends on nothing but the verdicts: arrangements in the order of the stated preference, then
for each requirement, stage by stage, the items in that same order; the first combination that meets every requirement,
breaks no prohibition, fits, brings its companions and clashes with nothing is the set. Where whether something fits is
still open, the opening is split into its cases and each gets its own set: those lines carry an "only if".
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from advisor.knowledge.conditions import Condition, facts_read
from advisor.knowledge.graph import KnowledgeGraph, preference
from advisor.knowledge.parts import Arrangement, Companion, Item, Requirement
from advisor.logic import NO, UNKNOWN, YES
from advisor.reasoning.infer import Findings, Judge

STAGES = ("hanging", "securing", "closing", "sealing", "stopping", "protecting", "silencing")
PAIRS = frozenset(("pair", "unequal_pair", "double_egress_pair"))
MOST_CASES = 48
# A plan depends on its key alone, so it may be kept as long as there is room
MOST_PLANS = 20_000

Assumption = tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class Pick:
    """One item chosen: on which leaf, how many, for which requirements, brought along by which item.

    ``counts`` is one number, or several, each with the facts (name, bits) for which it holds.
    """

    leaf: str
    item: str
    counts: tuple[tuple[Assumption, int], ...]
    meets: tuple[str, ...]
    brought_by: str | None = None


@dataclass(frozen=True, slots=True)
class Plan:
    """A whole set for one case: the arrangement, the picks, and the requirements nothing meets."""

    arrangement: str | None
    picks: tuple[Pick, ...]
    unmet: tuple[str, ...]

    @property
    def hardware(self) -> frozenset[tuple[str, str, tuple[int, ...]]]:
        """What is on the counter in the end: the lines without their reasons."""
        return frozenset((pick.leaf, pick.item, tuple(count for _, count in pick.counts)) for pick in self.picks)


Hardware = tuple[tuple[Assumption, frozenset[tuple[str, str, tuple[int, ...]]], tuple[str, ...]], ...]


@dataclass(frozen=True, slots=True)
class Choice:
    """The sets of every case, each with the facts (name, bits) that make the case and its findings."""

    cases: tuple[tuple[Assumption, Plan, Findings], ...]

    @property
    def hardware(self) -> Hardware:
        """What two choices are compared by: for each case the lines, and what stays unmet."""
        return tuple((assumed, plan.hardware, plan.unmet) for assumed, plan, _ in self.cases)


class _SplitError(Exception):
    """What fits, or what may be demanded, hangs on this fact: look at its values one by one."""

    def __init__(self, fact: str) -> None:
        self.fact = fact


@dataclass
class _Attempt:
    """What is chosen so far in one arrangement, and how many demands may still be given up."""

    picks: list[Pick] = field(default_factory=list)
    given: frozenset[tuple[str, str]] = frozenset()
    names: frozenset[str] = frozenset()
    unmet: list[str] = field(default_factory=list)
    spare: int = 0


@dataclass(frozen=True, slots=True)
class _Task:
    """An item or family still to be put on a leaf."""

    family: str
    leaf: str
    by: str | None
    quantity: int


class Chooser:
    """Chooses sets for one graph."""

    def __init__(self, judge: Judge) -> None:
        self.judge = judge
        self.graph: KnowledgeGraph = judge.graph
        self.arrangements = sorted(self.graph.arrangements.values(), key=preference)
        order = {stage: number for number, stage in enumerate(STAGES)}
        self.slots: list[Requirement] = sorted(
            (r for r in self.graph.requirements.values() if not r.trait and not r.listed),
            key=lambda requirement: (order[requirement.stage], requirement.name),
        )
        self.meeting: dict[str, tuple[Item, ...]] = {
            slot.name: tuple(
                sorted(
                    (item for item in self.graph.items.values() if item.alone and slot.name in item.gives),
                    key=preference,
                )
            )
            for slot in self.slots
        }
        self._rows = {
            table.name: [(judge.clause(row.when), row.value) for row in table.rows]
            for table in self.graph.tables.values()
        }
        self.facts_read = self._facts_read_while_choosing()
        self.clashing = {
            item.name: frozenset(
                other.name
                for other in self.graph.items.values()
                if any(self.graph.is_a(other.name, clash) for clash in item.clashes)
                or any(self.graph.is_a(item.name, clash) for clash in other.clashes)
            )
            for item in self.graph.items.values()
        }
        self.may_give = {name: self._may_give(part) for name, part in self.graph.arrangements.items()}
        self._given: dict[tuple[str, str, tuple[str, ...]], frozenset[tuple[str, str]]] = {}
        self._plans: dict[object, Plan] = {}

    def _facts_read_while_choosing(self) -> tuple[int, ...]:
        read = {"leaves"}
        for part in self.graph.hardware():
            read.update(*(facts_read(condition) for condition in self.graph.fit_conditions(part)))
        return tuple(sorted(self.graph.fact_index[fact] for fact in read))

    def _may_give(self, arrangement: Arrangement) -> frozenset[str]:
        """Everything some make-up of an arrangement, with what it brings along, may give."""
        names = [use.item for use in arrangement.uses] + [companion.item for companion in arrangement.brings]
        found, seen = set(arrangement.gives), set()
        while names:
            name = names.pop()
            for item in () if name in seen else self.graph.families[name]:
                found |= item.gives
                names += [companion.item for companion in item.brings]
            seen.add(name)
        return frozenset(found)

    def given(self, name: str, gives: frozenset[str], leaf: str, leaves: tuple[str, ...]) -> frozenset[tuple[str, str]]:
        """What something fitted to a leaf gives, each with the place it gives it to; traits are no gifts."""
        key = (name, leaf, leaves)
        if key not in self._given:
            found = set()
            for each in gives:
                requirement = self.graph.requirements[each]
                if requirement.trait:
                    continue
                places = leaves if leaf in ("each", "opening") else (leaf,)
                if requirement.on == "opening":
                    places = ("opening",)
                elif requirement.on != "each":
                    places = tuple(place for place in places if place == requirement.on)
                found |= {(each, place) for place in places}
            self._given[key] = frozenset(found)
        return self._given[key]

    def choose(self, findings: Findings, in_force: int = UNKNOWN) -> Choice:
        """The set for every remaining case.

        Args:
            findings: what follows from what was said.
            in_force: the least verdict that counts. UNKNOWN gives the set that is safe whatever the open facts
                are; YES gives what is already certain.
        """
        budget = [MOST_CASES]
        return Choice(tuple(self._cases(findings, in_force, budget)))

    def _cases(
        self, findings: Findings, in_force: int, budget: list[int]
    ) -> Iterator[tuple[Assumption, Plan, Findings]]:
        try:
            yield (), self.plan(findings, in_force, budget[0] > 0), findings
        except _SplitError as split:
            yield from self._split(split.fact, findings, in_force, budget)

    def _split(
        self, fact: str, findings: Findings, in_force: int, budget: list[int]
    ) -> Iterator[tuple[Assumption, Plan, Findings]]:
        """Each value of the fact by itself; values with the same outcome are one case."""
        at = self.graph.fact_index[fact]
        merged: dict[object, tuple[int, list[tuple[Assumption, Plan, Findings]]]] = {}
        for bit, _ in self.graph.cells[fact].samples(findings.state[at]):
            budget[0] -= 1
            said = list(findings.said)
            said[at] = bit
            below = list(self._cases(self.judge.infer(said, findings), in_force, budget))
            key = tuple((deeper, plan) for deeper, plan, _ in below)
            bits = merged[key][0] if key in merged else 0
            merged[key] = (bits | bit, below)
        for bits, below in merged.values():
            here: Assumption = ((fact, bits),) if len(merged) > 1 else ()
            for deeper, plan, lower in below:
                yield here + deeper, plan, lower

    def plan(self, findings: Findings, in_force: int, may_split: bool = True) -> Plan:
        """The set for one case.

        Raises:
            _SplitError: no one set serves; the fact to look at value by value.
        """
        state = findings.state
        key = (
            tuple(findings.required),
            tuple(findings.forbidden),
            tuple(state[at] for at in self.facts_read),
            in_force,
            may_split,
        )
        if key not in self._plans:
            if len(self._plans) >= MOST_PLANS:
                self._plans.clear()
            self._plans[key] = _Solver(self, findings, in_force, may_split).solve()
        return self._plans[key]

    def allows(self, findings: Findings, family: str) -> bool:
        """Whether some acceptable set holds something of a family, be it the best set or not."""
        try:
            return _Solver(self, findings, UNKNOWN, False).allows(family)
        except _SplitError:
            return False

    def counts(self, item: Item, findings: Findings) -> list[tuple[Assumption, int]]:
        """How many of an item one leaf, or the opening, takes; several where the table's facts are open."""
        if isinstance(item.quantity, int):
            return [((), item.quantity)]
        found: list[tuple[Assumption, int]] = []
        for clause, value in self._rows[item.quantity]:
            verdict = clause.judge(findings.state, findings.required)
            if verdict == YES:
                return [((), int(value))]
            if verdict == UNKNOWN:
                found.append((self._where(clause.condition, findings), int(value)))
        return found

    def _where(self, condition: Condition, findings: Findings) -> Assumption:
        """The bits for which a row's condition holds, fact by fact."""
        return tuple(
            (fact, self.graph.narrowed(condition, fact, findings.state[self.graph.fact_index[fact]]))
            for fact in sorted(facts_read(condition))
        )


class _Solver:
    """One case: everything that has to be looked at while choosing."""

    def __init__(self, chooser: Chooser, findings: Findings, in_force: int, may_split: bool) -> None:
        self.chooser, self.findings, self.in_force, self.may_split = chooser, findings, in_force, may_split
        self.graph = chooser.graph
        index = self.graph.requirement_index
        self.barred = frozenset(name for name, at in index.items() if findings.forbidden[at] >= in_force)
        self.wanted = [
            slot
            for slot in chooser.slots
            if findings.required[index[slot.name]] >= (YES if slot.met_by_nothing else in_force)
        ]
        self.names = frozenset(slot.name for slot in self.wanted)
        self.clashes: frozenset[str] = frozenset()
        self.hopeless: frozenset[str] = frozenset()
        self._hopeless_beside: dict[frozenset[str], frozenset[str]] = {}
        self._fits: dict[str, bool] = {}
        self._counts: dict[str, list[tuple[Assumption, int]]] = {}
        self.leaves = self._leaves()
        self.places = {slot.name: self._places(slot) for slot in self.wanted}

    def _leaves(self) -> tuple[str, ...]:
        at = self.graph.fact_index["leaves"]
        left = self.findings.state[at]
        if left & (left - 1):
            raise _SplitError("leaves")
        return (
            ("active", "inactive")
            if self.graph.kinds["leaves"].choices[left.bit_length() - 1] in PAIRS
            else ("active",)
        )

    def solve(self) -> Plan:
        """The best plan; where nothing meets everything, the one that leaves least unmet."""
        fitting = [a for a in self.chooser.arrangements if self._decided(a.fits)]
        allowed = [a for a in fitting if not a.gives & self.barred]
        for arrangement in allowed:
            attempt = self._fill(arrangement, 0)
            if attempt is not None:
                return self._plan(arrangement, attempt)
        if self.in_force == UNKNOWN and self.may_split:
            self._split_where_it_helps(fitting)
        candidates = [(self._least(candidate), candidate) for candidate in (*allowed, None)]
        for spare in range(min(least for least, _ in candidates), len(self.wanted) + 1):
            for least, candidate in candidates:
                attempt = self._fill(candidate, spare) if least <= spare else None
                if attempt is not None:
                    return self._plan(candidate, attempt)
        return self._plan(None, _Attempt(unmet=[slot.name for slot in self.wanted if self._places(slot)]))

    def _least(self, arrangement: Arrangement | None) -> int:
        """How many demands an arrangement, whatever stands beside it, leaves unmet at least."""
        if arrangement is None:
            return len(self._hopeless(frozenset()))
        return len(self._hopeless(arrangement.clashes) - self.chooser.may_give[arrangement.name])

    def _hopeless(self, clashes: frozenset[str]) -> frozenset[str]:
        """The demands no item standing alone may meet beside an arrangement that bars these families."""
        if clashes not in self._hopeless_beside:
            self._hopeless_beside[clashes] = frozenset(
                slot.name
                for slot in self.wanted
                if not slot.met_by_nothing and self._places(slot) and not self._possible(slot, clashes)
            )
        return self._hopeless_beside[clashes]

    def allows(self, family: str) -> bool:
        """Whether an acceptable arrangement holds something of a family, or an item of it may stand alone."""
        for item in self.graph.families[family]:
            if (
                item.alone
                and not item.gives & self.barred
                and self.chooser.judge.truth(item.fits, self.findings) == YES
            ):
                return True
        for arrangement in self.chooser.arrangements:
            if arrangement.gives & self.barred or self.chooser.judge.truth(arrangement.fits, self.findings) != YES:
                continue
            attempt = self._fill(arrangement, 0)
            if attempt is not None and any(self.graph.is_a(pick.item, family) for pick in attempt.picks):
                return True
        return False

    def _split_where_it_helps(self, fitting: Sequence[Arrangement]) -> None:
        """Open demands exclude each other: look at a fact that stands between the nearest arrangement and safety.

        Raises:
            _SplitError: some arrangement meets what is certain, so splitting helps.
        """
        certain = _Solver(self.chooser, self.findings, YES, False)
        nearest: frozenset[str] = frozenset()
        for arrangement in fitting:
            if arrangement.gives & certain.barred or certain._fill(arrangement, 0) is None:
                continue
            hindrances = frozenset(self._hindrances(arrangement))
            if hindrances and (not nearest or len(hindrances) < len(nearest)):
                nearest = hindrances
        if nearest:
            at, state = self.graph.fact_index, self.findings.state
            raise _SplitError(min(nearest, key=lambda fact: (state[at[fact]].bit_count(), fact)))

    def _hindrances(self, arrangement: Arrangement) -> Iterator[str]:
        """The open facts behind the open demands that an arrangement may break or leave unmet."""
        index, judge = self.graph.requirement_index, self.chooser.judge
        has = self.chooser.may_give[arrangement.name]
        for trait in sorted(has & self.barred):
            if self.findings.forbidden[index[trait]] == UNKNOWN:
                for rule in self.graph.forbidding[trait]:
                    if self.findings.rules[judge.rule_index[rule.name]] != UNKNOWN:
                        continue
                    yield from judge.waits_for(judge.rule_clause(rule.name).condition, self.findings)
        for slot in self.wanted:
            if self.findings.required[index[slot.name]] == UNKNOWN and (
                slot.name not in has or slot.stage != "securing"
            ):
                meeting = self.chooser.meeting[slot.name]
                if not self._possible(slot) or all(
                    self.graph.is_a(i.name, c) for i in meeting for c in arrangement.clashes
                ):
                    yield from judge.requirement_waits_for(slot.name, self.findings)

    def _possible(self, slot: Requirement, clashes: frozenset[str] = frozenset()) -> bool:
        """Whether some item standing alone may meet the requirement here, beside what bars these families."""
        return any(
            not item.gives & self.barred
            and not any(self.graph.is_a(item.name, clash) for clash in clashes)
            and self.chooser.judge.truth(item.fits, self.findings) != NO
            for item in self.chooser.meeting[slot.name]
        )

    def _decided(self, condition: Condition | None) -> bool:
        """Whether a fit condition holds.

        Raises:
            _SplitError: it hangs on an open fact.
        """
        verdict = self.chooser.judge.truth(condition, self.findings)
        if verdict == UNKNOWN and condition is not None:
            raise _SplitError(min(self.chooser.judge.waits_for(condition, self.findings)))
        return verdict == YES

    def _fitting(self, item: Item) -> bool:
        if item.name not in self._fits:
            self._fits[item.name] = self._decided(item.fits)
        return self._fits[item.name]

    def _plan(self, arrangement: Arrangement | None, attempt: _Attempt) -> Plan:
        return Plan(arrangement.name if arrangement else None, self._merged(attempt.picks), tuple(attempt.unmet))

    def _merged(self, picks: Sequence[Pick]) -> tuple[Pick, ...]:
        """Equal items brought twice to one place are one line; reasons add up."""
        found: dict[tuple[str, str], Pick] = {}
        for pick in picks:
            key = (pick.leaf, pick.item)
            if key in found:
                old = found[key]
                meets = tuple(sorted({*old.meets, *pick.meets}))
                pick = Pick(pick.leaf, pick.item, max(old.counts, pick.counts), meets, old.brought_by)
            found[key] = pick
        return tuple(found.values())

    def _fill(self, arrangement: Arrangement | None, spare: int) -> _Attempt | None:
        """Everything an arrangement needs beside it; None where more demands than may be given up stay unmet."""
        tasks: list[_Task] = []
        attempt = _Attempt(spare=spare)
        self.clashes = arrangement.clashes if arrangement else frozenset()
        self.hopeless = self._hopeless(self.clashes)
        if self._least(arrangement) > spare:
            return None
        if arrangement:
            tasks = [_Task(use.item, use.on, None, 1) for use in arrangement.uses]
            attempt.given = self.chooser.given(arrangement.name, arrangement.gives, "each", self.leaves)
            tasks += self._companions(arrangement.brings, "opening", None)
        return self._next(attempt, tasks, self.wanted)

    def _companions(self, brings: Sequence[Companion], leaf: str, by: str | None) -> list[_Task]:
        found = []
        for companion in brings:
            if self.chooser.judge.truth(companion.when, self.findings) >= self.in_force:
                on = leaf if companion.on == "each" and leaf in self.leaves else companion.on
                found.append(_Task(companion.item, on, by, companion.quantity))
        return found

    def _next(self, attempt: _Attempt, tasks: Sequence[_Task], slots: Sequence[Requirement]) -> _Attempt | None:
        if tasks:
            return self._do(attempt, tasks[0], tasks[1:], slots)
        if sum(slot.name in self.hopeless and bool(self._lacking(slot, attempt)) for slot in slots) > attempt.spare:
            return None
        for at, slot in enumerate(slots):
            spare, lacking = attempt.spare, self._lacking(slot, attempt)
            if not lacking:
                continue
            if not slot.met_by_nothing:
                task = _Task(slot.name, "each" if len(lacking) == 2 else lacking[0], None, 1)
                for item in () if slot.name in self.hopeless else self.chooser.meeting[slot.name]:
                    done = self._try(attempt, item, task, (slot.name,), [], slots[at + 1 :])
                    if done is not None:
                        return done
                if not spare:
                    return None
                spare -= 1
            attempt = _Attempt(attempt.picks, attempt.given, attempt.names, [*attempt.unmet, slot.name], spare)
        return attempt

    def _lacking(self, slot: Requirement, attempt: _Attempt) -> list[str]:
        return [place for place in self.places[slot.name] if (slot.name, place) not in attempt.given]

    def _do(
        self, attempt: _Attempt, task: _Task, rest: Sequence[_Task], slots: Sequence[Requirement]
    ) -> _Attempt | None:
        if task.leaf == "inactive" and "inactive" not in self.leaves:
            return self._next(attempt, rest, slots)
        have = any(pick.leaf == task.leaf and self.graph.is_a(pick.item, task.family) for pick in attempt.picks)
        if have and task.by:
            return self._next(attempt, rest, slots)
        for item in self.graph.families[task.family]:
            done = self._try(attempt, item, task, (), rest, slots)
            if done is not None:
                return done
        return None

    def _places(self, slot: Requirement) -> tuple[str, ...]:
        if slot.on == "opening":
            return ("opening",)
        return self.leaves if slot.on == "each" else tuple(leaf for leaf in self.leaves if leaf == slot.on)

    def _try(
        self,
        attempt: _Attempt,
        item: Item,
        task: _Task,
        meets: tuple[str, ...],
        rest: Sequence[_Task],
        slots: Sequence[Requirement],
    ) -> _Attempt | None:
        """Go on with this item chosen; None where it may not be, or where nothing can be chosen after it."""
        if item.gives & self.barred or not self.chooser.clashing[item.name].isdisjoint(attempt.names):
            return None
        if any(self.graph.is_a(item.name, clash) for clash in self.clashes) or not self._fitting(item):
            return None
        on = self.leaves if task.leaf == "each" else (task.leaf,)
        if item.name not in self._counts:
            self._counts[item.name] = self.chooser.counts(item, self.findings)
        counts = tuple((where, count * task.quantity * len(on)) for where, count in self._counts[item.name])
        shown = task.leaf if task.leaf != "each" or len(self.leaves) == 2 else "active"
        given = self.chooser.given(item.name, item.gives, task.leaf, self.leaves)
        serving = tuple(sorted({*meets, *(name for name, _ in given if name in self.names)}))
        grown = _Attempt(
            [*attempt.picks, Pick(shown, item.name, counts, serving, task.by)],
            attempt.given | given,
            attempt.names | {item.name},
            attempt.unmet,
            attempt.spare,
        )
        return self._next(grown, [*self._companions(item.brings, task.leaf, item.name), *rest], slots)
