"""The engine against an independent judge: the knowledge files as answer-set programs, solved by clingo.

Nothing the advisor reads, translates or works out is used by the judge (see `answer_sets`); here the two are only
compared. `-s` shows what was measured. JUDGE_COMPLETE and JUDGE_PARTIAL change how many openings are drawn.
"""

from __future__ import annotations

import os
import shutil
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

import pytest
from answer_sets import BestSet, Consequences, Draws, Files, Implications, Left, Sets, Verdicts

from advisor.facts import Between, Entry, FactSheet, OneOf
from advisor.knowledge.graph import KnowledgeGraph
from advisor.knowledge.load import load_knowledge
from advisor.logic import NO, UNKNOWN, YES
from advisor.reasoning.choose import Chooser
from advisor.reasoning.infer import Findings, Judge

COMPLETE = int(os.environ.get("JUDGE_COMPLETE", "20000"))
PARTIAL = int(os.environ.get("JUDGE_PARTIAL", "2000"))
OPTIMISED = 300
ALTERED_OPENINGS = 1500
FOLDER = Path(__file__).resolve().parent.parent / "knowledge_graph"

USUAL = {
    "leaves": "pair",
    "door_material": "hollow_metal",
    "frame_material": "hollow_metal",
    "fire_rating_minutes": "0",
    "wall_kind": "unrated_wall",
    "wall_rating_minutes": "0",
    "smoke_rated": "no",
    "occupancy": "business",
    "room_use": "office",
    "normally_occupied": "yes",
    "occupant_load": "30",
    "sprinklered": "yes",
    "egress": "yes",
    "inactive_leaf_needed_for_egress": "no",
    "exterior": "no",
    "accessible_route": "yes",
    "electrical_equipment_amps": "100",
    "leaf_width_in": "36",
    "inactive_leaf_width_in": "36",
    "leaf_height_in": "84",
    "swing": "with_egress",
    "existing_door": "no",
    "field_preparation": "already_prepared",
    "authority_accepts_manual_bolts": "no",
    "listing_wants_overlapping_astragal": "no",
    "beds_move": "no",
    "stories_connected": "1",
    "wall_also_fire_barrier": "no",
    "code": "ibc_2021",
    "life_safety_code": "no",
}


@pytest.fixture(scope="module")
def files() -> Files:
    return Files(FOLDER)


@dataclass
class Tally:
    """What was compared and where the two differ."""

    counted: Counter[str] = field(default_factory=Counter)
    applied: set[str] = field(default_factory=set)
    wrong: list[str] = field(default_factory=list)

    def differ(self, what: str, engine: object, judge: object, opening: str) -> None:
        if engine != judge:
            self.wrong.append(f"{what}: engine {engine}, judge {judge}; {opening}")

    def settle(self, compared: int) -> None:
        print(f"\n{compared} openings: {', '.join(f'{number} {what}' for what, number in self.counted.items())}")
        assert not self.wrong, f"{len(self.wrong)} disagreements over {compared} openings; the first: {self.wrong[:5]}"


def sheet_of(files: Files, said: Left) -> FactSheet:
    """The cells of what was said as the advisor's own fact sheet; a fact all of whose cells are left is not said."""
    entries = {}
    for name, cells in said.items():
        fact = files.facts[name]
        if len(cells) == len(fact.cells):
            continue
        values = [fact.values[at] for at in sorted(cells)]
        if fact.quantity:
            entries[name] = Entry(Between(Fraction(values[0]), Fraction(values[-1])))
        else:
            entries[name] = Entry(OneOf(frozenset(str(value) for value in values)))
    return FactSheet(entries)


def exactly(opening: Mapping[str, int]) -> Left:
    return {fact: frozenset((cell,)) for fact, cell in opening.items()}


def shown(files: Files, draws: Draws, said: Left) -> str:
    """The facts that differ from the usual, so that an opening can be judged by hand."""
    return ", ".join(
        f"{fact}={'/'.join(str(files.facts[fact].values[at]) for at in sorted(cells))}"
        for fact, cells in said.items()
        if cells != {draws.usual[fact]} and len(cells) < len(files.facts[fact].cells)
    )


def left_by(files: Files, graph: KnowledgeGraph, findings: Findings) -> dict[str, frozenset[int]]:
    """What the engine leaves of each fact, as the judge's cells."""
    found = {}
    for fact, at in graph.fact_index.items():
        samples = [possible for _, possible in graph.cells[fact].samples(findings.state[at])]
        values = [each.exact if isinstance(each, Between) else next(iter(each.values)) for each in samples]
        found[fact] = frozenset(files.facts[fact].cell(value) for value in values if value is not None)
    return found


def verdicts_of(graph: KnowledgeGraph, judge: Judge, findings: Findings, verdict: int) -> Verdicts:
    """The rules, requirements and prohibitions the engine gives a verdict."""
    index = graph.requirement_index
    return Verdicts(
        frozenset(name for name, at in judge.rule_index.items() if findings.rules[at] == verdict),
        frozenset(name for name, at in index.items() if findings.required[at] == verdict),
        frozenset(name for name, at in index.items() if findings.forbidden[at] == verdict),
    )


def set_of(chooser: Chooser, findings: Findings) -> BestSet:
    """The engine's set for a complete opening."""
    ((assumed, plan, _),) = chooser.choose(findings).cases
    assert assumed == ()
    lines = []
    for pick in plan.picks:
        ((where, count),) = pick.counts
        assert where == ()
        lines.append((pick.leaf, pick.item, count))
    met_by_nothing = {name for name in plan.unmet if chooser.graph.requirements[name].met_by_nothing}
    strict = plan.arrangement is not None and met_by_nothing == set(plan.unmet)
    return BestSet(plan.arrangement, frozenset(lines), plan.unmet, strict)


def test_both_divide_each_fact_into_the_same_cells(files: Files, graph: KnowledgeGraph) -> None:
    assert files.facts.keys() == graph.cells.keys()
    for name, cells in graph.cells.items():
        values = [
            possible.exact if isinstance(possible, Between) else next(iter(possible.values))
            for _, possible in cells.samples(cells.full)
        ]
        assert [files.facts[name].cell(value) for value in values if value is not None] == list(
            range(len(files.facts[name].cells))
        ), name


def test_what_is_found_first_is_what_optimising_finds(files: Files) -> None:
    """The judge's ordered search against clingo's optimisation, a priority level for each step of the search."""
    draws = Draws(files, USUAL, seed=10)
    first, optimal = Sets(files), Sets(files, by_optimising=True)
    for at in range(OPTIMISED):
        cells = exactly(draws.opening(plausible=bool(at % 2)))
        assert first.best(cells) == optimal.best(cells), shown(files, draws, cells)


def complete(files: Files, graph: KnowledgeGraph, judge: Judge, chooser: Chooser, count: int) -> Tally:
    """Complete openings, every other one plausible: the verdicts and the best set of both."""
    draws, sets, tally = Draws(files, USUAL, seed=11), Sets(files), Tally()
    nothing = Verdicts(frozenset(), frozenset(), frozenset())
    for at in range(count):
        cells = exactly(draws.opening(plausible=bool(at % 2)))
        opening = shown(files, draws, cells)
        findings = judge.infer(judge.said(sheet_of(files, cells)))
        best, verdicts = sets.best(cells)
        applying = verdicts_of(graph, judge, findings, YES)
        tally.applied |= applying.rules
        for what in ("rules", "required", "forbidden"):
            ours, others = getattr(applying, what), getattr(verdicts, what)
            tally.differ(what, sorted(ours - others), sorted(others - ours), opening)
            tally.counted[f"{what} found by both"] += len(ours & others)
        tally.differ("open", verdicts_of(graph, judge, findings, UNKNOWN), nothing, opening)
        tally.differ("set", set_of(chooser, findings), best, opening)
        tally.counted["sets by the strict search" if best.strict else "sets by fallback"] += 1
    return tally


@pytest.mark.parametrize("count", [COMPLETE], ids=lambda count: f"{count}_openings")
def test_complete_openings_have_the_same_verdicts_and_the_same_best_set(
    files: Files, graph: KnowledgeGraph, judge: Judge, chooser: Chooser, count: int
) -> None:
    tally = complete(files, graph, judge, chooser, count)
    tally.settle(count)
    print(f"rules that never applied: {sorted(graph.rules.keys() - tally.applied)}")
    assert min(tally.counted.values()) > 0


ALTERED = {
    "an exception": ("rules/bolts/manual_bolts_at_storage_and_equipment_rooms.yaml", "[storage_room, ", "["),
    "a threshold of a table": ("tables/hinges_per_leaf.yaml", "at_most: 90}", "at_most: 91}"),
    "the preference among items": ("items/closing.yaml", "moving_parts: 0", "moving_parts: 7"),
    "how many a companion is": ("items/bolts.yaml", "quantity: 2", "quantity: 3"),
}


def altered(folder: Path, file: str, old: str, new: str) -> Files:
    """The knowledge files with one text in one of them replaced."""
    copied = Path(shutil.copytree(FOLDER, folder / "knowledge_graph"))
    text = (copied / file).read_text("utf-8")
    assert old in text, f"{file} no longer holds the text {old!r}: name another one there that makes a difference"
    (copied / file).write_text(text.replace(old, new, 1), "utf-8")
    return Files(copied)


@pytest.mark.parametrize(("file", "old", "new"), ALTERED.values(), ids=ALTERED)
def test_the_judge_sees_when_one_thing_is_altered(
    graph: KnowledgeGraph, judge: Judge, chooser: Chooser, tmp_path: Path, file: str, old: str, new: str
) -> None:
    """The engine judges by the files, the judge by a copy in which one thing reads otherwise: they disagree."""
    assert complete(altered(tmp_path, file, old, new), graph, judge, chooser, ALTERED_OPENINGS).wrong


def partial(files: Files, graph: KnowledgeGraph, judge: Judge, count: int) -> Tally:
    """Partial openings: what is left of each fact, and every verdict against all completions of what is left."""
    draws, tally = Draws(files, USUAL, seed=12), Tally()
    implications, consequences = Implications(files), Consequences(files)
    for at in range(count):
        said = draws.partly(draws.opening(plausible=bool(at % 2)))
        opening = shown(files, draws, said)
        findings = judge.infer(judge.said(sheet_of(files, said)))
        left = left_by(files, graph, findings)
        implied = implications.left(said)
        tally.differ(
            "left", *({f: sorted(each[f]) for f in left if left[f] != implied[f]} for each in (left, implied)), opening
        )
        tally.counted["facts implied or presumed"] += sum(left[fact] != said[fact] for fact in left)
        brave, cautious = consequences.of(left)
        verdicts = {verdict: verdicts_of(graph, judge, findings, verdict) for verdict in (NO, UNKNOWN, YES)}
        for what in ("rules", "required", "forbidden"):
            yes, no, unknown = (getattr(verdicts[verdict], what) for verdict in (YES, NO, UNKNOWN))
            may, must = getattr(brave, what), getattr(cautious, what)
            tally.differ(f"{what} YES", sorted(yes - must), [], opening)
            tally.differ(f"{what} NO", sorted(no & may), [], opening)
            tally.counted[f"{what} YES"] += len(yes)
            tally.counted[f"{what} NO"] += len(no)
            tally.counted[f"{what} UNKNOWN"] += len(unknown)
            tally.counted[f"{what} UNKNOWN that could have been decided"] += len(unknown & must) + len(unknown - may)
    return tally


@pytest.mark.parametrize("count", [PARTIAL], ids=lambda count: f"{count}_openings")
def test_every_yes_and_no_of_a_partial_opening_is_certain(
    files: Files, graph: KnowledgeGraph, judge: Judge, count: int
) -> None:
    partial(files, graph, judge, count).settle(count)


ALTERED_PARTLY = {
    "a threshold of a rule": ("rules/fire/active_leaf_closes.yaml", "at_least: 20", "at_least: 45"),
    "an implication": ("rules/rooms/public_rooms_are_on_the_route.yaml", "route: yes", "route: no"),
    "a presumption": ("facts.yaml", "presumed: medium", "presumed: low"),
}


@pytest.mark.parametrize(("file", "old", "new"), ALTERED_PARTLY.values(), ids=ALTERED_PARTLY)
def test_the_judge_of_partial_openings_sees_when_one_thing_is_altered(
    graph: KnowledgeGraph, judge: Judge, tmp_path: Path, file: str, old: str, new: str
) -> None:
    assert partial(altered(tmp_path, file, old, new), graph, judge, ALTERED_OPENINGS // 3).wrong


HALVES = {"at_most": "45", "more_than": "45"}


def test_what_reasoning_by_cases_could_decide_is_counted(tmp_path: Path) -> None:
    """Two rules that share a requirement between them leave it UNKNOWN to the engine and certain to the judge."""
    folder = Path(shutil.copytree(FOLDER, tmp_path / "knowledge_graph"))
    for bound, limit in HALVES.items():
        (folder / "rules" / f"{bound}.yaml").write_text(
            f"rule: One half\nrequires: [water_shed]\nwhen: {{fire_rating_minutes: {{{bound}: {limit}}}}}\n"
            "because: It is one half.\nsource: {common_practice: true}\nstrength: good_practice\ncases: []\n",
            "utf-8",
        )
    graph = load_knowledge(folder)
    tally = partial(Files(folder), graph, Judge(graph), 50)
    assert not tally.wrong
    assert tally.counted["required UNKNOWN that could have been decided"] > 0
