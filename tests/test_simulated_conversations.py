"""Simulated conversations: a hidden opening answers, and every question is looked at.

A question is right only if two complete openings, alike in everything but its answer and both within what is still
possible, get different hardware. They are looked for here by a search of its own: openings are drawn, hinted by the
conditions that read the fact, and only the asked fact is varied.
"""

from __future__ import annotations

import multiprocessing
import random
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field

from plain_judge import Completions, Opening, Openings, compares, possible

from advisor.asking.plan import Planner
from advisor.facts import Entry, FactSheet
from advisor.knowledge.conditions import All, AnyOf, Compare, Condition, Needs, Not, walk
from advisor.knowledge.load import load_knowledge
from advisor.reasoning.choose import Chooser, Hardware
from advisor.reasoning.infer import Findings, Judge
from advisor.yaml_files import data_folder

CONVERSATIONS, SHARES, COMPLETIONS, TRIES = 1_000, 8, 30, 4_000
OPENING_WORDS = (
    "leaves",
    "door_material",
    "fire_rating_minutes",
    "room_use",
    "occupancy",
    "leaf_width_in",
    "leaf_height_in",
    "exterior",
    "occupant_load",
    "existing_door",
)


@dataclass
class Held:
    """What came of a share of the conversations."""

    questions: list[int] = field(default_factory=list)
    asked_twice: list[str] = field(default_factory=list)
    idle: list[str] = field(default_factory=list)
    ended_open: int = 0
    ended_early: list[str] = field(default_factory=list)
    early_facts: Counter[str] = field(default_factory=Counter)
    tries: list[int] = field(default_factory=list)


class Holder:
    """Holds conversations with one planner."""

    def __init__(self, seed: int) -> None:
        self.graph = load_knowledge(data_folder("knowledge_graph"))
        self.judge = Judge(self.graph)
        self.chooser = Chooser(self.judge)
        self.planner = Planner(self.chooser)
        self.random = random.Random(seed)
        self.openings, self.completions = Openings(self.graph, seed), Completions(self.graph, seed)
        self.ordering = [fact for fact, kind in self.graph.kinds.items() if kind.topic == "ordering"]
        self.reading = {fact: list(self._conditions_reading(fact)) for fact in self.graph.kinds}

    def _conditions_reading(self, fact: str) -> Iterator[Condition]:
        """Every condition that compares a fact."""
        for condition in self.graph.conditions:
            if any(isinstance(part, Compare) and part.fact == fact for part in walk(condition)):
                yield condition

    def talk(self, held: Held) -> None:
        """One conversation, from a few facts said at once to the last question."""
        hidden = self.openings.plausible() if self.random.random() < 0.7 else self.openings.wild()
        said = self.random.sample(OPENING_WORDS, self.random.randint(2, 5))
        sheet = FactSheet({fact: Entry(possible(self.graph.kinds[fact], hidden[fact])) for fact in said})
        closed: set[str] = set()
        asked: list[str] = []
        while True:
            findings = self.judge.infer(self.judge.said(sheet))
            question = self.planner.next_question(findings, frozenset(closed))
            if question is None:
                break
            fact = question.fact
            if fact in asked or fact in said:
                held.asked_twice.append(f"{fact}: said {said}, asked {asked}")
                break
            asked.append(fact)
            tries = self.witness(fact, findings)
            if tries is None:
                held.idle.append(f"{fact}: {self._known(findings)}")
            else:
                held.tries.append(tries)
            if self.random.random() < 0.1:
                closed.add(fact)
                sheet = sheet.with_entry(fact, Entry(None, "", True))
                continue
            sheet = sheet.with_entry(
                fact, Entry(possible(self.graph.kinds[fact], self._answer(fact, hidden, findings)))
            )
        held.questions.append(len(asked))
        if closed:
            held.ended_open += 1
        else:
            self._look_for_more(findings, held)

    def _answer(self, fact: str, hidden: Opening, findings: Findings) -> object:
        """The hidden opening's answer; where what was said rules it out, any answer that is left."""
        mask = findings.state[self.graph.fact_index[fact]]
        values = [value for bit, value in self.completions.cells[fact] if bit & mask]
        return hidden[fact] if hidden[fact] in values else self.random.choice(values)

    def _known(self, findings: Findings) -> str:
        known = []
        for fact, at in self.graph.fact_index.items():
            if findings.said[at] != self.judge.full[at]:
                known.append(f"{fact}={self.graph.cells[fact].possible(findings.said[at])}")
        return ", ".join(known)

    def hardware(self, opening: Opening) -> Hardware:
        """The hardware of a complete opening."""
        state = [
            self.graph.cells[fact].mask(possible(self.graph.kinds[fact], opening[fact]))
            for fact in self.graph.fact_index
        ]
        return self.chooser.choose(self.judge.infer(state)).hardware

    def on_the_counter(self, opening: Opening) -> object:
        """The same without what only a specialist can answer: no question is asked for that, it is told as open."""
        return [
            (lines, [name for name in unmet if not self.graph.requirements[name].met_by_nothing])
            for _, lines, unmet in self.hardware(opening)
        ]

    def witness(self, fact: str, findings: Findings) -> int | None:
        """After how many openings drawn one is found whose hardware changes with this fact alone; None for never."""
        at = self.graph.fact_index[fact]
        for number in range(TRIES):
            state = list(findings.state)
            for hint in range(number % 4):
                self._hint(self.random.choice(self.reading[fact]), not hint or self.random.random() < 0.3, state, fact)
            whole = self.completions.within(state, findings.said if number % 2 else None)
            found: set[Hardware] = set()
            for value in self._sides(fact, findings.state[at]):
                found.add(self.hardware({**whole, fact: value}))
                if len(found) > 1:
                    return number + 1
        return None

    def _sides(self, fact: str, mask: int) -> list[object]:
        """The values left of a fact, in any order."""
        values = [value for bit, value in self.completions.cells[fact] if bit & mask]
        return self.random.sample(values, len(values))

    def _hint(self, condition: Condition, wanted: bool, state: list[int], spared: str) -> None:
        """Narrow a state at random towards a condition that hangs on one fact; what can't be narrowed stays."""
        if isinstance(condition, Needs):
            rules = self.graph.requiring.get(condition.requirement, ())
            if rules:
                self._hint(self.random.choice(rules).condition, wanted, state, spared)
        elif isinstance(condition, Not):
            self._hint(condition.part, not wanted, state, spared)
        elif isinstance(condition, Compare):
            at = self.graph.fact_index[condition.fact]
            cells = self.completions.cells[condition.fact]
            left = state[at] & sum(bit for bit, value in cells if compares(condition, value) == wanted)
            if left and condition.fact != spared:
                state[at] = left
        elif isinstance(condition, All) == wanted:
            for part in condition.parts:
                self._hint(part, wanted, state, spared)
        else:
            assert isinstance(condition, All | AnyOf)
            self._hint(self.random.choice(condition.parts), wanted, state, spared)

    def _look_for_more(self, findings: Findings, held: Held) -> None:
        """Where nothing more is asked and nothing was left open, all openings still possible get the same hardware.

        The ordering details, asked for only when the customer wants a list to order from, are the same in all of them.
        """
        first = None
        for _ in range(COMPLETIONS):
            whole = self.completions.within(findings.state, findings.said)
            if first is not None:
                whole |= {fact: first[0][fact] for fact in self.ordering}
            hardware = self.on_the_counter(whole)
            if first is None:
                first = (whole, hardware)
            elif hardware != first[1]:
                differing = [fact for fact in whole if whole[fact] != first[0][fact]]
                deciding = [
                    fact for fact in differing if self.on_the_counter({**first[0], fact: whole[fact]}) != first[1]
                ]
                held.early_facts.update(deciding or ["several together"])
                held.ended_early.append(f"{deciding} of {differing}: {self._known(findings)}")
                return


def talk_through(seed: int) -> Held:
    """A share of the conversations."""
    holder, held = Holder(seed), Held()
    for _ in range(CONVERSATIONS // SHARES):
        holder.talk(held)
    return held


def test_every_question_can_change_the_set_none_is_asked_twice_and_none_is_left_out() -> None:
    with ProcessPoolExecutor(2, multiprocessing.get_context("spawn")) as pool:
        shares = list(pool.map(talk_through, range(200, 200 + SHARES)))
    questions = sorted(number for share in shares for number in share.questions)
    tries = sorted(number for share in shares for number in share.tries)
    idle = [text for share in shares for text in share.idle]
    early = [text for share in shares for text in share.ended_early]
    early_facts = sum((share.early_facts for share in shares), Counter[str]())
    whole = len(questions) - sum(share.ended_open for share in shares)
    print(f"\n{len(questions)} conversations, {sum(questions)} questions: mean {sum(questions) / len(questions):.1f}")
    print(f"how many had how many: {dict(sorted(Counter(questions).items()))}")
    print(f"openings drawn for a witness: median {tries[len(tries) // 2]}, most {tries[-1]}; none for {len(idle)}")
    print(f"ended too early: {len(early)} of {whole} in which nothing was left open; on {dict(early_facts)}")
    assert len(questions) == CONVERSATIONS
    assert [text for share in shares for text in share.asked_twice] == []
    assert not idle, f"{len(idle)} questions without a witness; the first: {idle[:5]}"
    assert not early, f"{len(early)} of {whole} ended too early; the first: {early[:5]}"
