"""The planner against the best possible questioning, worked out by dynamic programming.

A sub-domain is a customer's opening in which all facts are known but a few, each of those left with its likeliest
values, independent of each other. Small enough to try every order of questions after every answer: the least expected
number of questions until all openings still possible get the same hardware. The planner runs over the same tree.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from itertools import product

from customers import Customers
from plain_judge import possible

from advisor.asking.plan import Planner
from advisor.reasoning.choose import Chooser
from advisor.reasoning.infer import Judge

DOMAINS, MOST_FACTS, MOST_VALUES, MARGIN = 40, 6, 3, 1.10
LEAST_QUESTIONS = 2.0

Known = tuple[int | None, ...]


@dataclass(frozen=True)
class Domain:
    """Some open facts, with the bits each may have and how likely; what is said of all the others."""

    facts: tuple[str, ...]
    bits: tuple[tuple[int, ...], ...]
    chances: tuple[tuple[float, ...], ...]
    said: tuple[int, ...]


class Optimum:
    """Draws sub-domains and measures questioning on them."""

    def __init__(self, judge: Judge, seed: int) -> None:
        self.judge, self.graph = judge, judge.graph
        self.chooser = Chooser(judge)
        self.planner = Planner(self.chooser)
        self.customers = Customers(self.graph, seed)

    def weight(self, fact: str, bit: int) -> float:
        """How likely a cell of a fact is by its prior; a value without a weight hardly ever is."""
        kind, cells = self.graph.kinds[fact], self.graph.cells[fact]
        weights = ((Fraction(value) if kind.kind == "quantity" else value, kind.prior[value]) for value in kind.prior)
        return 0.01 + sum(weight for value, weight in weights if cells.mask(possible(kind, value)) == bit)

    def domain(self) -> Domain:
        """A sub-domain around the next customer; most are pairs, where facts matter together."""
        random = self.customers.random
        opening = self.customers.opening()
        while opening["leaves"] == "single" and random.random() < 0.8:
            opening = self.customers.opening()
        sheet = self.customers.sheet(opening)
        for fact in ("fire_rating_minutes", "door_material"):
            if random.random() < 0.5:
                sheet = sheet.without(fact)
        findings = self.judge.infer(self.judge.said(sheet))
        open_facts = [
            fact
            for fact, at in self.graph.fact_index.items()
            if findings.state[at].bit_count() > 1
            and self.graph.kinds[fact].topic != "ordering"
            and self.planner.waiting_for(fact, findings)
        ]
        facts = sorted(random.sample(open_facts, min(MOST_FACTS, len(open_facts))))
        while True:
            said = [
                self.graph.cells[fact].mask(possible(self.graph.kinds[fact], opening[fact]))
                for fact in self.graph.fact_index
            ]
            bits = []
            for fact in facts:
                at = self.graph.fact_index[fact]
                left = [bit for bit, _ in self.graph.cells[fact].samples(findings.state[at])]
                kept = sorted(left, key=lambda bit, fact=fact: (-self.weight(fact, bit), bit))[:MOST_VALUES]
                bits.append(tuple(sorted(kept)))
                said[at] = sum(kept)
            bound = self._bound(facts, bits, said)
            if bound is None:
                break
            facts.remove(bound)
        weights = [[self.weight(fact, bit) for bit in each] for fact, each in zip(facts, bits, strict=True)]
        chances = tuple(tuple(weight / sum(each) for weight in each) for each in weights)
        return Domain(tuple(facts), tuple(bits), chances, tuple(said))

    def _bound(self, facts: list[str], bits: list[tuple[int, ...]], said: list[int]) -> str | None:
        """A fact of which some values of the others imply something; None where all are independent."""
        for number, fact in enumerate(facts):
            at = self.graph.fact_index[fact]
            others = [other for other in facts if other != fact]
            for picked in product(*(each for place, each in enumerate(bits) if place != number)):
                state = list(said)
                for other, bit in zip(others, picked, strict=True):
                    state[self.graph.fact_index[other]] = bit
                if self.judge.infer(state).state[at] != said[at]:
                    return fact
        return None

    def measured(self, domain: Domain) -> tuple[float, float]:
        """The expected number of questions: the least possible, and the planner's."""
        size = len(domain.facts)

        def state(known: Known) -> list[int]:
            said = list(domain.said)
            for fact, bits, at in zip(domain.facts, domain.bits, known, strict=True):
                if at is not None:
                    said[self.graph.fact_index[fact]] = bits[at]
            return said

        def answers(known: Known, number: int) -> list[tuple[float, Known]]:
            return [
                (chance, (*known[:number], at, *known[number + 1 :]))
                for at, chance in enumerate(domain.chances[number])
            ]

        @cache
        def outcome(known: Known) -> object:
            """The hardware that all openings still possible get; None where they differ."""
            if None not in known:
                hardware = self.chooser.choose(self.judge.infer(state(known))).hardware
                return tuple((lines, self._on_the_counter(unmet)) for _, lines, unmet in hardware)
            found = {outcome(below) for _, below in answers(known, known.index(None))}
            return found.pop() if len(found) == 1 else None

        @cache
        def least(known: Known) -> float:
            if outcome(known) is not None:
                return 0.0
            return 1 + min(
                sum(chance * least(below) for chance, below in answers(known, number))
                for number in range(size)
                if known[number] is None
            )

        def planned(known: Known) -> float:
            question = self.planner.next_question(self.judge.infer(state(known)), frozenset())
            if question is None:
                assert outcome(known) is not None, f"stopped early: {domain.facts} known {known} of {domain.said}"
                return 0.0
            assert outcome(known) is not None or question.fact in domain.facts
            assert outcome(known) is None, f"wasted {question.fact}: {domain.facts} known {known} of {domain.said}"
            number = domain.facts.index(question.fact)
            return 1 + sum(chance * planned(below) for chance, below in answers(known, number))

        unknown: Known = (None,) * size
        return least(unknown), planned(unknown)

    def _on_the_counter(self, unmet: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(name for name in unmet if not self.graph.requirements[name].met_by_nothing)


def measure(judge: Judge, seed: int, domains: int) -> list[tuple[float, float, Domain]]:
    """The least possible and the planner's questions on so many sub-domains where there is a choice to be made."""
    optimum = Optimum(judge, seed)
    found = []
    while len(found) < domains:
        domain = optimum.domain()
        if len(domain.facts) < 3:
            continue
        least, planned = optimum.measured(domain)
        # where every fact has to be asked, any order is as good
        if LEAST_QUESTIONS <= least <= len(domain.facts) - 1:
            found.append((least, planned, domain))
    return found


def test_the_planner_is_within_a_tenth_of_the_best_possible_questioning(judge: Judge) -> None:
    found = measure(judge, 5, DOMAINS)
    best, ours = (sum(entry[place] for entry in found) / len(found) for place in (0, 1))
    worst = max(found, key=lambda entry: entry[1] / entry[0])
    print(f"\n{len(found)} sub-domains: least possible {best:.3f}, planner {ours:.3f}, {ours / best:.3f} times")
    print(f"worst: {worst[0]:.2f} against {worst[1]:.2f} on {worst[2].facts}")
    assert best <= ours <= MARGIN * best
    assert all(least <= planned + 1e-9 for least, planned, _ in found)
