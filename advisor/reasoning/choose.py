"""From requirements to a set: the arrangement and the items that meet everything in force.

The choice is exact and depends on nothing but the verdicts: arrangements in the order of the stated preference, then
for each requirement, stage by stage, the items in that same order; the first combination that meets every requirement,
breaks no prohibition, fits, brings its companions and clashes with nothing is the set. Where whether something fits is
still open, the opening is split into its cases and each gets its own set: those lines carry an "only if".
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from advisor.knowledge.graph import KnowledgeGraph, preference
from advisor.knowledge.parts import Arrangement, Companion, Item, Requirement
from advisor.logic import NO, UNKNOWN, YES
from advisor.reasoning.infer import Findings, Judge

STAGES = ("hanging", "securing", "closing", "sealing", "stopping", "protecting", "silencing")
PAIRS = frozenset(("pair", "unequal_pair", "double_egress_pair"))
MOST_CASES = 64


@dataclass(frozen=True, slots=True)
class Pick:
    """One item chosen: on which leaf, for which requirements, brought along by which item."""

    leaf: str
    item: str
    quantity: int
    meets: tuple[str, ...]
    brought_by: str | None = None


@dataclass(frozen=True, slots=True)
class Plan:
    """A whole set for one case: the arrangement, the picks, and the requirements nothing meets."""

    arrangement: str | None
    picks: tuple[Pick, ...]
    unmet: tuple[str, ...]

    @property
    def hardware(self) -> frozenset[tuple[str, str, int]]:
        """What is on the counter in the end: the lines without their reasons."""
        return frozenset((pick.leaf, pick.item, pick.quantity) for pick in self.picks)


Assumption = tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class Choice:
    """The sets of every case, each with the facts (name, bits) that make the case and its findings."""

    cases: tuple[tuple[Assumption, Plan, Findings], ...]

    @property
    def hardware(self) -> tuple[tuple[Assumption, frozenset[tuple[str, str, int]], tuple[str, ...]], ...]:
        """What two choices are compared by: for each case the lines, and what stays unmet."""
        return tuple((assumed, plan.hardware, plan.unmet) for assumed, plan, _ in self.cases)


class _Split(Exception):
    """Whether something fits hangs on this fact."""

    def __init__(self, fact: str) -> None:
        self.fact = fact


@dataclass
class _Attempt:
    """What is chosen so far in one arrangement."""

    picks: list[Pick] = field(default_factory=list)
    given: set[tuple[str, str]] = field(default_factory=set)
    unmet: list[str] = field(default_factory=list)


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
            table.name: [(self.judge.clause(row.when), row.value) for row in table.rows]
            for table in self.graph.tables.values()
        }
        self._fits = [
            self.judge.clause(part.fits)
            for part in (*self.arrangements, *sorted(self.graph.items.values(), key=lambda item: item.name))
            if part.fits
        ]
        self._whens = [
            self.judge.clause(companion.when)
            for part in (*self.arrangements, *sorted(self.graph.items.values(), key=lambda item: item.name))
            for companion in part.brings
            if companion.when
        ]
        counted = sorted({item.quantity for item in self.graph.items.values() if isinstance(item.quantity, str)})
        self._counts = [clause for name in counted for clause, _ in self._rows[name]]
        self._plans: dict[object, Plan | str] = {}

    def choose(self, findings: Findings, in_force: int = UNKNOWN) -> Choice:
        """The set for every remaining case.

        Args:
            findings: what follows from what was said.
            in_force: the least verdict that counts. UNKNOWN gives the set that is safe whatever the open facts
                are; YES gives what is already certain.
        """
        return Choice(tuple(self._cases(findings, in_force, ())))

    def _cases(
        self, findings: Findings, in_force: int, assumed: Assumption
    ) -> Iterator[tuple[Assumption, Plan, Findings]]:
        found = self.plan(findings, in_force)
        if isinstance(found, Plan):
            yield assumed, found, findings
            return
        at = self.graph.fact_index[found]
        left = findings.state[at]
        merged: dict[object, tuple[int, list[tuple[Assumption, Plan, Findings]]]] = {}
        while left:
            bit = left & -left
            left ^= bit
            said = list(findings.said)
            said[at] = bit
            below = list(self._cases(self.judge.infer(said, findings), in_force, ()))
            key = tuple((deeper, plan) for deeper, plan, _ in below)
            bits = merged[key][0] if key in merged else 0
            merged[key] = (bits | bit, below)
        for bits, below in merged.values():
            here: Assumption = ((found, bits),) if len(merged) > 1 else ()
            for deeper, plan, lower in below:
                yield assumed + here + deeper, plan, lower

    def plan(self, findings: Findings, in_force: int) -> Plan | str:
        """The set for one case, or the fact that has to be split first."""
        state, required = findings.state, findings.required
        wanted = tuple(verdict >= in_force for verdict in required)
        barred = tuple(verdict >= in_force for verdict in findings.forbidden)
        key = (
            wanted,
            barred,
            tuple(clause.judge(state, required) for clause in self._fits),
            tuple(clause.judge(state, required) >= in_force for clause in self._whens),
            tuple(clause.judge(state, required) for clause in self._counts),
            tuple(state[self.graph.fact_index[fact]] for fact in ("leaves",)),
            self._waits(findings),
        )
        if key not in self._plans:
            self._plans[key] = self._solve(findings, in_force)
        return self._plans[key]

    def _waits(self, findings: Findings) -> tuple[str, ...]:
        """What a split would hang on, so that equal verdicts on other open facts are kept apart."""
        found = []
        for clause in self._fits + self._counts:
            if clause.judge(findings.state, findings.required) == UNKNOWN:
                found.append(min(self.judge.waits_for(clause.condition, findings)))
        return tuple(found)

    def _solve(self, findings: Findings, in_force: int) -> Plan | str:
        graph = self.graph
        barred = frozenset(
            name for name, number in graph.requirement_index.items() if findings.forbidden[number] >= in_force
        )
        wanted = [slot for slot in self.slots if findings.required[graph.requirement_index[slot.name]] >= in_force]
        solver = _Solver(self, findings, in_force, wanted, barred)
        try:
            return solver.solve()
        except _Split as split:
            return split.fact

    def decided(self, condition: object, findings: Findings) -> bool:
        """Whether a fit condition holds.

        Raises:
            _Split: it hangs on an open fact.
        """
        verdict = self.judge.truth(condition, findings)  # type: ignore[arg-type]
        if verdict == UNKNOWN:
            raise _Split(min(self.judge.waits_for(condition, findings)))  # type: ignore[arg-type]
        return verdict == YES

    def count(self, item: Item, findings: Findings) -> int:
        """How many of an item one leaf, or the opening, takes.

        Raises:
            _Split: the table's row hangs on an open fact.
        """
        if isinstance(item.quantity, int):
            return item.quantity
        for clause, value in self._rows[item.quantity]:
            verdict = clause.judge(findings.state, findings.required)
            if verdict == YES:
                return int(value)
            if verdict == UNKNOWN:
                raise _Split(min(self.judge.waits_for(clause.condition, findings)))
        return 0


class _Solver:
    """One case: everything that has to be looked at while choosing."""

    def __init__(
        self,
        chooser: Chooser,
        findings: Findings,
        in_force: int,
        wanted: Sequence[Requirement],
        barred: frozenset[str],
    ) -> None:
        self.chooser, self.findings, self.in_force = chooser, findings, in_force
        self.graph = chooser.graph
        self.wanted, self.barred = wanted, barred
        self.clashes: frozenset[str] = frozenset()
        at = self.graph.fact_index["leaves"]
        left = findings.state[at]
        if left & (left - 1):
            raise _Split("leaves")
        leaves = self.graph.kinds["leaves"].choices[left.bit_length() - 1]
        self.leaves: tuple[str, ...] = ("active", "inactive") if leaves in PAIRS else ("active",)

    def solve(self) -> Plan:
        """The best plan; where nothing meets everything, the one that leaves least unmet."""
        fitting = [a for a in self.chooser.arrangements if self.chooser.decided(a.fits, self.findings)]
        allowed = [a for a in fitting if not a.gives & self.barred]
        for arrangement in allowed:
            attempt = self._fill(arrangement, strict=True)
            if attempt is not None:
                return self._plan(arrangement, attempt)
        best: tuple[int, Arrangement | None, _Attempt] | None = None
        for arrangement in (*allowed, None):
            attempt = self._fill(arrangement, strict=False)
            if attempt is not None and (best is None or len(attempt.unmet) < best[0]):
                best = (len(attempt.unmet), arrangement, attempt)
        assert best is not None
        return self._plan(best[1], best[2])

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
                pick = Pick(pick.leaf, pick.item, max(old.quantity, pick.quantity), meets, old.brought_by)
            found[key] = pick
        return tuple(found.values())

    def _fill(self, arrangement: Arrangement | None, strict: bool) -> _Attempt | None:
        tasks: list[tuple[str, str, str | None, int]] = []
        attempt = _Attempt()
        self.clashes = arrangement.clashes if arrangement else frozenset()
        if arrangement:
            tasks = [(use.item, use.on, None, 1) for use in arrangement.uses]
            for given in arrangement.gives:
                self._give(attempt, given, "each")
            tasks += self._companions(arrangement.brings, "opening", None)
        return self._next(attempt, tasks, list(self.wanted), strict)

    def _companions(
        self, brings: Sequence[Companion], leaf: str, by: str | None
    ) -> list[tuple[str, str, str | None, int]]:
        found = []
        for companion in brings:
            verdict = self.chooser.judge.truth(companion.when, self.findings)
            if verdict >= self.in_force or (companion.when is None and verdict != NO):
                on = leaf if companion.on == "each" and leaf in self.leaves else companion.on
                found.append((companion.item, on, by, companion.quantity))
        return found

    def _next(
        self, attempt: _Attempt, tasks: list[tuple[str, str, str | None, int]], slots: list[Requirement], strict: bool
    ) -> _Attempt | None:
        if tasks:
            (family, leaf, by, quantity), rest = tasks[0], tasks[1:]
            if leaf == "inactive" and "inactive" not in self.leaves:
                return self._next(attempt, rest, slots, strict)
            have = next((p for p in attempt.picks if p.leaf == leaf and self.graph.is_a(p.item, family)), None)
            if have and by:
                return self._next(attempt, rest, slots, strict)
            for item in self.graph.families[family]:
                done = self._try(attempt, item, leaf, (), by, quantity, rest, slots, strict)
                if done:
                    return done
            return None
        while slots:
            slot, slots = slots[0], slots[1:]
            missing = [place for place in self._places(slot) if (slot.name, place) not in attempt.given]
            if not missing:
                continue
            if not slot.met_by_nothing:
                leaf = "each" if len(missing) == 2 else missing[0]
                for item in self.chooser.meeting[slot.name]:
                    done = self._try(attempt, item, leaf, (slot.name,), None, 1, [], slots, strict)
                    if done:
                        return done
                if strict:
                    return None
            attempt.unmet.append(slot.name)
        return attempt

    def _places(self, slot: Requirement) -> tuple[str, ...]:
        if slot.on == "opening":
            return ("opening",)
        return self.leaves if slot.on == "each" else tuple(leaf for leaf in self.leaves if leaf == slot.on)

    def _try(
        self,
        attempt: _Attempt,
        item: Item,
        leaf: str,
        meets: tuple[str, ...],
        by: str | None,
        quantity: int,
        tasks: list[tuple[str, str, str | None, int]],
        slots: list[Requirement],
        strict: bool,
    ) -> _Attempt | None:
        if item.gives & self.barred or self._clashing(attempt, item):
            return None
        if not self.chooser.decided(item.fits, self.findings):
            return None
        per_leaf = self.chooser.count(item, self.findings) * quantity
        on = self.leaves if leaf == "each" else (leaf,)
        grown = _Attempt([*attempt.picks], {*attempt.given}, [*attempt.unmet])
        shown = leaf if leaf != "each" or len(self.leaves) == 2 else "active"
        serving = set(meets)
        for given in item.gives:
            if self._give(grown, given, leaf):
                serving.add(given)
        grown.picks.append(Pick(shown, item.name, per_leaf * len(on), tuple(sorted(serving)), by))
        return self._next(grown, self._companions(item.brings, leaf, item.name) + tasks, slots, strict)

    def _give(self, attempt: _Attempt, name: str, leaf: str) -> bool:
        """Note what is given; say whether it was wanted here."""
        requirement = self.graph.requirements[name]
        if requirement.trait:
            return False
        places = ("opening",) if requirement.on == "opening" else self.leaves if leaf in ("each", "opening") else (leaf,)
        if requirement.on in ("active", "inactive"):
            places = tuple(place for place in places if place == requirement.on)
        attempt.given.update((name, place) for place in places)
        return bool(places) and requirement in self.wanted

    def _clashing(self, attempt: _Attempt, item: Item) -> bool:
        if any(self.graph.is_a(item.name, clash) for clash in self.clashes):
            return True
        for pick in attempt.picks:
            other = self.graph.items[pick.item]
            if any(self.graph.is_a(other.name, clash) for clash in item.clashes):
                return True
            if any(self.graph.is_a(item.name, clash) for clash in other.clashes):
                return True
        return False
