"""How many questions 5,000 simulated customers need, and whether each of them was needed.

Every customer opens with a typical sentence and then answers what is asked. Two plainer ways of asking serve the same
customers side by side: facts in a fixed order, and the fact that most undecided rules wait for; both ask whatever some
rule waits for until nothing waits.

In the test a sample is looked at closely: of each share every question of the first STEPS customers, the end of the
first ENDS conversations, and the plainer ways for the first PLAINER customers. `python tests/test_question_counts.py`
does it for all of them, which takes an hour or two, or with a number for so many of each share; it draws
`tests/pictures/questions.svg`.
"""

from __future__ import annotations

import multiprocessing
import sys
from collections import Counter
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from itertools import product
from math import prod
from pathlib import Path
from random import Random
from xml.etree import ElementTree

from customers import Customers
from plain_judge import Opening, possible
from test_random_openings import judged
from test_simulated_conversations import Holder

from advisor.facts import Entry
from advisor.reasoning.infer import Findings

CUSTOMERS, SHARES, COMPLETIONS = 5_000, 4, 500
MOST_MEAN, MOST_QUESTIONS = 5.0, 12
STEPS, ENDS, PLAINER, UNSURE = 30, 10, 300, 20
WAYS = ("best question", "fixed order", "most rules waiting")
PICTURE = Path(__file__).parent / "pictures" / "questions.svg"

Ask = Callable[[Findings], str | None]


@dataclass
class Share:
    """What came of a share of the customers: questions by each way of asking, and what was wrong with them."""

    questions: dict[str, Counter[int]] = field(default_factory=lambda: {way: Counter() for way in WAYS})
    steps: int = 0
    ends: int = 0
    wasted: list[str] = field(default_factory=list)
    early: list[str] = field(default_factory=list)
    unsure: int = 0
    unacceptable: list[str] = field(default_factory=list)


class Asking:
    """One share: the same customers served in three ways."""

    def __init__(self, seed: int) -> None:
        self.holder = Holder(seed)
        self.graph, self.judge, self.chooser = self.holder.graph, self.holder.judge, self.holder.chooser
        self.planner, self.random = self.holder.planner, Random(seed)
        self.customers = Customers(self.graph, seed)
        self.known: dict[tuple[int, ...], str | None] = {}
        self.declared = list(self.graph.kinds)

    def best(self, findings: Findings) -> str | None:
        """The planner's question; the same facts get the same one."""
        key = tuple(findings.said)
        if key not in self.known:
            question = self.planner.next_question(findings, frozenset())
            self.known[key] = question.fact if question else None
        return self.known[key]

    def fixed(self, findings: Findings) -> str | None:
        """The first fact, in the order they are declared, that some rule waits for."""
        return min(self._waited_for(findings), key=self.declared.index, default=None)

    def greedy(self, findings: Findings) -> str | None:
        """The fact that most undecided rules wait for."""
        waiting = self._waited_for(findings)
        return min(waiting, key=lambda fact: (-waiting[fact], fact), default=None)

    def _waited_for(self, findings: Findings) -> dict[str, int]:
        counted = {fact: len({id(e.condition) for e in each}) for fact, each in self.planner._waiting(findings).items()}
        return {fact: count for fact, count in counted.items() if self.graph.kinds[fact].topic != "ordering"}

    def talk(self, opening: Opening, ask: Ask, sheet: object) -> list[tuple[Findings, str | None]]:
        """One conversation: what followed at each step, and what was asked; None at the end."""
        steps: list[tuple[Findings, str | None]] = []
        while True:
            findings = self.judge.infer(self.judge.said(sheet))  # type: ignore[arg-type]
            fact = ask(findings)
            steps.append((findings, fact))
            if fact is None:
                return steps
            sheet = sheet.with_entry(fact, self.answer(fact, opening, findings))  # type: ignore[attr-defined]

    def answer(self, fact: str, opening: Opening, findings: Findings) -> Entry:
        """The opening's own answer; where what was said before rules it out, the first answer left."""
        left, cells = findings.state[self.graph.fact_index[fact]], self.graph.cells[fact]
        own = possible(self.graph.kinds[fact], opening[fact])
        return Entry(own if cells.mask(own) & left else cells.possible(left & -left))

    def completions(self, findings: Findings) -> Sequence[Opening]:
        """All openings still possible, or 500 drawn; ordering details stay as they are in the first."""
        cells = self.holder.completions.cells
        left = {
            fact: [value for bit, value in cells[fact] if bit & findings.state[at]]
            for fact, at in self.graph.fact_index.items()
        }
        for fact in self.holder.ordering:
            left[fact] = left[fact][:1]
        if prod(len(values) for values in left.values()) <= COMPLETIONS:
            return [dict(zip(left, picked, strict=True)) for picked in product(*left.values())]
        return [{fact: self.random.choice(values) for fact, values in left.items()} for _ in range(COMPLETIONS)]

    def check_step(self, findings: Findings, fact: str, share: Share) -> None:
        """A question is wasted where no opening still possible gets other hardware by changing its answer alone."""
        share.steps += 1
        if self.holder.witness(fact, findings) is None:
            share.wasted.append(f"{fact}: {self.holder._known(findings)}")

    def check_end(self, findings: Findings, share: Share) -> None:
        """The end comes too early where two openings still possible get different hardware."""
        share.ends += 1
        first = None
        for whole in self.completions(findings):
            found = self.holder.on_the_counter(whole)
            if first is not None and found != first:
                share.early.append(self.holder._known(findings))
                return
            first = found

    def check_unsure(self, opening: Opening, share: Share) -> None:
        """A customer who can't answer a random part of the questions still gets a set that is safe in every case."""
        share.unsure += 1
        sheet, closed = self.customers.sheet(opening), set[str]()
        often = self.random.choice((0.2, 0.5, 1.0))
        while True:
            findings = self.judge.infer(self.judge.said(sheet))
            question = self.planner.next_question(findings, frozenset(closed))
            if question is None:
                break
            if self.random.random() < often:
                closed.add(question.fact)
                sheet = sheet.with_entry(question.fact, Entry(None, "", True))
            else:
                sheet = sheet.with_entry(question.fact, self.answer(question.fact, opening, findings))
        choice = self.chooser.choose(findings)
        for _ in range(30):
            whole = self.holder.completions.within(findings.state, findings.said)
            faults, _ = judged(self.chooser, findings, choice, whole)
            if faults:
                share.unacceptable.append(f"{faults}, open {sorted(closed)}: {self.holder._known(findings)}")


def serve(seed: int, steps: int = STEPS, ends: int = ENDS, plainer: int = PLAINER, unsure: int = UNSURE) -> Share:
    """A share of the customers, the first of them checked."""
    asking, share = Asking(seed), Share()
    for number in range(CUSTOMERS // SHARES):
        opening = asking.customers.opening()
        sheet = asking.customers.sheet(opening)
        for way, ask in zip(WAYS, (asking.best, asking.fixed, asking.greedy), strict=True):
            if way != WAYS[0] and number >= plainer:
                continue
            talked = asking.talk(opening, ask, sheet)
            share.questions[way][len(talked) - 1] += 1
            if way != WAYS[0]:
                continue
            for findings, fact in talked if number < steps else ():
                if fact:
                    asking.check_step(findings, fact, share)
            if number < ends:
                asking.check_end(talked[-1][0], share)
        if number < unsure:
            asking.check_unsure(opening, share)
    return share


def together(work: Callable[[int], Share]) -> Share:
    """What came of all shares."""
    whole = Share()
    with ProcessPoolExecutor(2, multiprocessing.get_context("spawn")) as pool:
        for share in pool.map(work, range(500, 500 + SHARES)):
            for way in WAYS:
                whole.questions[way].update(share.questions[way])
            whole.steps, whole.ends = whole.steps + share.steps, whole.ends + share.ends
            whole.unsure += share.unsure
            whole.wasted += share.wasted
            whole.early += share.early
            whole.unacceptable += share.unacceptable
    return whole


def mean(counts: Counter[int]) -> float:
    return sum(number * times for number, times in counts.items()) / counts.total()


def shown(whole: Share) -> str:
    lines = [
        f"{way}: mean {mean(counts):.2f}, most {max(counts)}, {dict(sorted(counts.items()))}"
        for way, counts in whole.questions.items()
    ]
    lines.append(f"{whole.steps} questions checked, {len(whole.wasted)} wasted; {whole.ends} ends checked, ")
    lines[-1] += f"{len(whole.early)} early; {whole.unsure} unsure customers, {len(whole.unacceptable)} faults"
    return "\n".join(lines)


def picture(questions: dict[str, Counter[int]]) -> str:
    """The distributions side by side, as an SVG: for each number of questions the share of the customers."""
    colors = ("#1f6f8b", "#c9a227", "#b0b0b0")
    most = max(max(counts) for counts in questions.values())
    highest = max(times / counts.total() for counts in questions.values() for times in counts.values())
    width, height, left, bottom = 46 * (most + 1) + 60, 340, 40, 290
    space = f'xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}"'
    parts = [
        f'<svg {space} font-family="sans-serif" font-size="12">',
        f'<rect width="{width}" height="{height}" fill="white"/>',
    ]
    for place, (way, counts) in enumerate(questions.items()):
        for number, times in sorted(counts.items()):
            tall = 220 * times / counts.total() / highest
            x, y = left + 46 * number + 13 * place, bottom - tall
            parts.append(f'<rect x="{x}" y="{y:.1f}" width="12" height="{tall:.1f}" fill="{colors[place]}"/>')
        x, y = left + 46 * most - 190, 24 + 18 * place
        said = f"{way}: mean {mean(counts):.2f}, most {max(counts)}"
        parts.append(f'<rect x="{x}" y="{y - 10}" width="12" height="12" fill="{colors[place]}"/>')
        parts.append(f'<text x="{x + 18}" y="{y}">{said}</text>')
    for number in range(most + 1):
        parts.append(f'<text x="{left + 46 * number + 19}" y="{bottom + 16}" text-anchor="middle">{number}</text>')
    about = f"questions after the opening sentence; {next(iter(questions.values())).total()} simulated customers"
    parts.append(f'<text x="{left}" y="{bottom + 38}">{about}</text>')
    parts.append(f'<line x1="{left}" y1="{bottom}" x2="{width - 20}" y2="{bottom}" stroke="black"/>')
    return "\n".join([*parts, "</svg>", ""])


def test_few_questions_none_wasted_none_left_out_and_not_knowing_is_safe(tmp_path: Path) -> None:
    whole = together(serve)
    print(f"\n{shown(whole)}")
    counts = whole.questions[WAYS[0]]
    drawn = tmp_path / "questions.svg"
    drawn.write_text(picture(whole.questions), encoding="utf-8")
    bars = [part for part in ElementTree.parse(drawn).iter() if part.tag.endswith("rect")]
    assert len(bars) == 1 + sum(len(each) + 1 for each in whole.questions.values())
    assert counts.total() == CUSTOMERS
    assert all(whole.questions[way].total() == SHARES * PLAINER for way in WAYS[1:])
    assert mean(counts) <= MOST_MEAN
    assert max(counts) <= MOST_QUESTIONS
    assert all(mean(counts) < mean(whole.questions[way]) for way in WAYS[1:])
    assert whole.steps >= SHARES * STEPS
    assert not whole.wasted, f"{len(whole.wasted)} of {whole.steps}; the first: {whole.wasted[:3]}"
    assert not whole.early, f"{len(whole.early)} of {whole.ends}; the first: {whole.early[:3]}"
    assert not whole.unacceptable, f"{len(whole.unacceptable)}; the first: {whole.unacceptable[:3]}"


if __name__ == "__main__":
    looked_at = int(sys.argv[1]) if len(sys.argv) > 1 else CUSTOMERS
    everything = together(partial(serve, steps=looked_at, ends=looked_at, plainer=CUSTOMERS, unsure=looked_at // 2))
    PICTURE.parent.mkdir(exist_ok=True)
    PICTURE.write_text(picture(everything.questions), encoding="utf-8")
    print(shown(everything))
    print(*everything.wasted[:5], *everything.early[:5], *everything.unacceptable[:5], sep="\n")
    sys.exit(bool(everything.wasted or everything.early or everything.unacceptable))
