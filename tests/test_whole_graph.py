"""What `advisor check` finds in the graph as a whole: each kind of fault in a copy that has it, none in our own."""

from __future__ import annotations

import shutil
import time
from collections.abc import Callable
from pathlib import Path

import pytest
import yaml
from typer.testing import CliRunner

from advisor.errors import RuleCycle
from advisor.front.cli import app
from advisor.knowledge.graph import KnowledgeGraph
from advisor.knowledge.load import load_knowledge
from advisor.reasoning.check import Note, check, notes, spread_out, sweep
from advisor.reasoning.infer import Judge
from advisor.yaml_files import data_folder

Break = Callable[[Path], None]

RULE = """
rule: {sentence}
{effect}
when: {when}
because: This rule is here to be found out.
source: {source}
strength: good_practice
cases:
  - {{name: one that applies, given: {given}, expect: {expect}}}
  - {{name: nothing known, given: {{}}, expect: {{ask: [exterior]}}}}
"""


def rule(
    sentence: str,
    effect: str,
    when: str = "{exterior: yes}",
    given: str = "{exterior: yes}",
    expect: str = "applies",
    source: str = "{common_practice: true}",
) -> str:
    return RULE.format(sentence=sentence, effect=effect, when=when, given=given, expect=expect, source=source)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(data_folder("knowledge_graph"), tmp_path / "knowledge_graph"))


def append(folder: Path, name: str, text: str) -> None:
    file = folder / name
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_text((file.read_text() if file.exists() else "") + text)


def problems(folder: Path) -> list[str]:
    return list(check(Judge(load_knowledge(folder))))


def test_our_own_graph_has_no_problem(judge: Judge) -> None:
    assert list(check(judge)) == []


def orphan_fact(folder: Path) -> None:
    append(folder, "facts.yaml", "paint:\n  kind: yes_no\n  meaning: The door is painted.\n  ease: 1\n")


def unmet_requirement(folder: Path) -> None:
    append(folder, "requirements.yaml", "glitter: {on: each, stage: protecting, meaning: The leaf glitters.}\n")
    append(folder, "rules/odd/glitter.yaml", rule("Exterior doors glitter", "requires: [glitter]"))


def requirement_nobody_imposes(folder: Path) -> None:
    append(folder, "requirements.yaml", "glitter: {on: each, stage: protecting, meaning: The leaf glitters.}\n")
    append(folder, "items/odd.yaml", item("tinsel", "[glitter]"))


def item(name: str, gives: str, more: str = "") -> str:
    return f"{name}:\n  title: a piece of {name}\n  gives: {gives}\n{more}  source: {{common_practice: yes}}\n"


def item_nothing_needs(folder: Path) -> None:
    append(folder, "items/odd.yaml", item("tinsel", "[edge_preparation]"))


def item_no_opening_takes(folder: Path) -> None:
    fits = "  fits: {exterior: yes, not: {exterior: yes}}\n"
    append(folder, "items/odd.yaml", item("tinsel", "[stop_silenced]", fits))


def arrangement_no_opening_takes(folder: Path) -> None:
    append(
        folder,
        "arrangements/odd.yaml",
        "arrangement: a bored lockset on a glass door\n"
        "fits: {leaves: single, door_material: glass}\n"
        "uses: [{item: lockset_bored, on: active}]\n"
        "because: No bored lockset fits glass.\n"
        "source: {common_practice: yes}\n",
    )


def rule_that_can_not_apply(folder: Path) -> None:
    when = "{exterior: yes, not: {exterior: yes}}"
    append(folder, "rules/odd/never.yaml", rule("A door both in and out", "requires: [threshold_fitted]", when))


def rule_no_case_reaches(folder: Path) -> None:
    text = rule(
        "Exterior doors close", "requires: [active_leaf_closes]", given="{exterior: no}", expect="does not apply"
    )
    append(folder, "rules/odd/unreached.yaml", text)


def wrong_case(folder: Path) -> None:
    text = rule("Exterior doors close", "requires: [active_leaf_closes]", given="{exterior: no}")
    append(folder, "rules/odd/wrong.yaml", text)


def blunt_condition(folder: Path) -> None:
    both = "{exterior: yes, smoke_rated: yes}"
    text = rule("Exterior doors close", "requires: [active_leaf_closes]", both, both)
    append(folder, "rules/odd/blunt.yaml", text.replace("  - {name: nothing known", "  # - {name: nothing known"))


def conflict_no_case_meets(folder: Path) -> None:
    append(folder, "rules/odd/armor.yaml", rule("Exterior doors get armor", "requires: [armor_plate]"))
    text = rule("Smoke doors get no armor", "forbids: [armor_plate]", "{smoke_rated: yes}", "{smoke_rated: yes}")
    append(folder, "rules/odd/no_armor.yaml", text.replace("ask: [exterior]", "ask: [smoke_rated]"))


def table_with_a_gap(folder: Path) -> None:
    file = folder / "tables" / "leaves_in_opening.yaml"
    table = yaml.safe_load(file.read_text())
    table["rows"] = table["rows"][:-1]
    file.write_text(yaml.safe_dump(table))


BROKEN: list[tuple[Break, str]] = [
    (orphan_fact, "no rule, item or table reads the fact 'paint'"),
    (unmet_requirement, "nothing meets 'glitter'"),
    (requirement_nobody_imposes, "no rule imposes 'glitter'"),
    (item_nothing_needs, "nothing needs the item 'tinsel'"),
    (item_no_opening_takes, "no opening takes the item 'tinsel'"),
    (arrangement_no_opening_takes, "no opening takes the arrangement 'odd'"),
    (rule_that_can_not_apply, "'A door both in and out' applies to no opening at all"),
    (rule_no_case_reaches, "no case of 'Exterior doors close' reaches it"),
    (wrong_case, "expects applies but it is does not apply"),
    (blunt_condition, "notices that smoke_rated is left out"),
    (conflict_no_case_meets, "requires 'armor_plate'"),
    (table_with_a_gap, "0 rows hold for leaves"),
]


@pytest.mark.parametrize(("broken", "words"), BROKEN, ids=[broken.__name__ for broken, _ in BROKEN])
def test_a_fault_is_found_and_said_with_its_place(broken: Break, words: str, folder: Path) -> None:
    broken(folder)
    found = [line for line in problems(folder) if words in line]
    assert found, words
    assert all(".yaml:" in line.split(" ")[0] for line in found), found


def test_requirements_that_wait_for_each_other_are_refused(folder: Path) -> None:
    append(folder, "rules/odd/one.yaml", rule("One", "requires: [armor_plate]", "{needs: stop_silenced}"))
    append(folder, "rules/odd/other.yaml", rule("Other", "requires: [stop_silenced]", "{needs: armor_plate}"))
    with pytest.raises(RuleCycle):
        load_knowledge(folder)


def run(*options: str) -> tuple[int, str]:
    result = CliRunner().invoke(app, ["check", *options])
    return result.exit_code, result.output


def test_check_succeeds_on_our_own_files_and_counts_its_notes() -> None:
    code, said = run()
    assert code == 0
    assert "0 problems" in said
    assert "rules from memory alone" in said
    assert "rests on memory alone" not in said
    assert "rests on memory alone" in run("--notes")[1]


def test_a_problem_in_a_folder_laid_over_makes_the_check_fail(tmp_path: Path) -> None:
    item_nothing_needs(tmp_path)
    code, said = run("--knowledge", str(tmp_path))
    assert (code, "nothing needs the item 'tinsel'" in said) == (1, True)


def test_a_cycle_makes_the_check_fail(tmp_path: Path) -> None:
    append(tmp_path, "rules/odd/one.yaml", rule("One", "requires: [armor_plate]", "{needs: stop_silenced}"))
    append(tmp_path, "rules/odd/other.yaml", rule("Other", "requires: [stop_silenced]", "{needs: armor_plate}"))
    assert run("--knowledge", str(tmp_path))[0] == 1


def test_a_note_alone_does_not_make_the_check_fail(tmp_path: Path) -> None:
    text = rule("Exterior doors drip", "requires: [water_shed]", source="{from_memory: true}")
    append(tmp_path, "rules/odd/memory.yaml", text)
    code, said = run("--knowledge", str(tmp_path), "--notes")
    assert code == 0
    assert "'Exterior doors drip' rests on memory alone" in said


def noted(graph: KnowledgeGraph) -> dict[str, list[Note]]:
    found: dict[str, list[Note]] = {}
    for note in notes(Judge(graph)):
        found.setdefault(note.kind, []).append(note)
    return found


def test_every_rule_without_a_work_is_noted(graph: KnowledgeGraph) -> None:
    found = noted(graph)
    bases = [each.source.basis for each in graph.rules.values()]
    assert len(found["rules from memory alone"]) == bases.count("from_memory") > 0
    assert len(found["rules that cite no work"]) == bases.count("common_practice") > 0


def test_an_arrangement_and_an_item_that_others_always_come_before_are_noted(folder: Path) -> None:
    append(
        folder,
        "arrangements/second_best.yaml",
        "arrangement: a lockset that costs more\n"
        "fits: {leaves: single}\n"
        "uses: [{item: lockset, on: active}]\n"
        "moving_parts: 99\n"
        "because: There is always a better one.\n"
        "source: {common_practice: yes}\n",
    )
    append(folder, "items/odd.yaml", item("tinsel", "[stop_silenced]", "  moving_parts: 99\n"))
    append(folder, "requirements.yaml", "shiny: {on: each, trait: true, meaning: Something that shines.}\n")
    append(folder, "rules/odd/dull.yaml", rule("Exterior doors don't shine", "forbids: [shiny]"))
    found = noted(load_knowledge(folder))
    assert "'second_best'" in " ".join(map(str, found["arrangements never chosen"]))
    assert "'tinsel'" in " ".join(map(str, found["items never chosen"]))
    assert "'shiny'" in " ".join(map(str, found["traits nothing has"]))
    assert problems(folder) == []


def test_the_sweep_chooses_nearly_everything_and_is_the_same_every_time(judge: Judge) -> None:
    start = time.process_time()
    first = sweep(judge)
    taken = time.process_time() - start
    print(f"\n{first.openings} openings in {taken:.2f} s")
    assert first == sweep(Judge(judge.graph))
    never = {name for name in judge.graph.arrangements if not first.arrangements[name]}
    assert never <= {"rods_concealed_top_only_both", "mortise_device_single"}
    assert taken < 2.0


def test_an_opening_of_the_sweep_lies_in_reach_of_each_rule(judge: Judge) -> None:
    reached: set[str] = set()
    for opening in spread_out(judge):
        assert all(bits and not bits & (bits - 1) for bits in opening)
        findings = judge.infer(opening)
        reached |= {name for name, verdict in zip(judge.rule_names, findings.rules, strict=True) if verdict == 2}
    assert sorted(set(judge.rule_names) - reached) == []


def test_a_name_for_several_items_is_never_put_in_a_set(graph: KnowledgeGraph) -> None:
    bases = {family for item in graph.items.values() for family in item.is_a}
    names = {name for name in bases & graph.items.keys() if not graph.items[name].alone}
    assert names
    assert all(item.name not in names for members in graph.families.values() for item in members)
    assert all(graph.families[name] for name in names)
