"""Which parts of the knowledge are to blame where two states of it advise differently."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from review_corpus import mind

from advisor.conversation.counter import Counter
from advisor.conversation.mind import load
from advisor.review.blame import SetChange, edits, set_change

RULE = """
rule: This house does so
{effect}
when: {when}
because: It always has.
source: {{common_practice: true}}
strength: good_practice
cases:
  - {{name: nothing known, given: {{}}, expect: {{ask: [{asks}]}}}}
"""
CLASSROOM = "a single wood door, classroom, unrated, 3070, interior"
OFFICE = "a single wood door, office, unrated, 3070, interior"


def shop(folder: Path, files: Mapping[str, str]) -> Path:
    for name, text in files.items():
        path = folder / "shop" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
    return folder / "shop"


def slots_after(*lines: str) -> dict[str, Any]:
    slots: dict[str, Any] = {}
    counter = Counter(
        mind(), lambda events: slots.update({e["name"]: e["value"] for e in events if e["event"] == "slot"})
    )
    for line in lines:
        counter.say(line)
    counter.close()
    return slots


def change(folder: Path, files: Mapping[str, str], *lines: str) -> SetChange | None:
    other = load([shop(folder, files)])
    return set_change(mind(), other, slots_after(*lines), edits(mind().graph, other.graph))


def rule(effect: str, when: str, asks: str) -> str:
    return RULE.format(effect=effect, when=when, asks=asks)


ARMOR = {"rules/house/armor.yaml": rule("requires: [armor_plate]", "{room_use: classroom}", "room_use")}


def test_an_added_rule_is_to_blame_where_it_applies_and_nowhere_else(tmp_path: Path) -> None:
    found = change(tmp_path, ARMOR, CLASSROOM)
    assert found is not None
    assert (found.responsible, found.in_lines) == (("house/armor",), True)
    assert "armor_plate" in {item for _, item, _ in found.come}
    assert change(tmp_path, ARMOR, OFFICE) is None


def test_where_nothing_was_said_no_set_would_change(tmp_path: Path) -> None:
    assert change(tmp_path, ARMOR, "good morning") is None


def test_an_exception_is_to_blame_for_what_it_lifts(tmp_path: Path) -> None:
    lifting = {"rules/house/no_stop.yaml": rule("lifts: stopping/every_leaf_stops", "{room_use: office}", "room_use")}
    found = change(tmp_path, lifting, OFFICE)
    assert found is not None
    assert "house/no_stop" in found.responsible
    assert [item for _, item, _ in found.gone if "stop" in item] != []


def test_a_caution_changes_what_a_set_rests_on_and_no_line(tmp_path: Path) -> None:
    caution = {"rules/house/mind.yaml": rule("cautions: Mind the step.", "{room_use: office}", "room_use")}
    found = change(tmp_path, caution, OFFICE)
    assert found is not None
    assert (found.responsible, found.in_lines, found.gone, found.come) == (("house/mind",), False, [], [])


def test_another_wording_or_source_is_no_edit(tmp_path: Path) -> None:
    path = Path(mind().graph.rules["stopping/every_leaf_stops"].place.file)
    text = (Path(__file__).parents[1] / path).read_text()
    reworded = text.replace("\nbecause: ", "\nreplaces: stopping/every_leaf_stops\nbecause: As they say, ", 1)
    assert reworded != text
    other = load([shop(tmp_path, {"rules/stopping/every_leaf_stops.yaml": reworded})])
    found = edits(mind().graph, other.graph)
    assert (found.rules, found.others) == (frozenset(), frozenset())


def test_an_item_is_to_blame_where_no_rule_was_edited(tmp_path: Path) -> None:
    item = """
wall_stop:
  label: no
  replaces: wall_stop
  title: wall stop
  type: ANSI/BHMA A156.16 L02101
  gives: [leaf_stopped]
  fits: {exterior: yes}
  moving_parts: 0
  cost: 1
  source: {common_practice: yes}
"""
    found = change(tmp_path, {"items/closing.yaml": item}, OFFICE)
    assert found is not None
    assert found.in_lines
    assert found.responsible == ("item:wall_stop",)


def test_the_same_knowledge_changes_nothing() -> None:
    assert edits(mind().graph, load().graph).rules == frozenset()
    assert edits(mind().graph, load().graph).others == frozenset()
    assert set_change(mind(), load(), slots_after(OFFICE), edits(mind().graph, load().graph)) is None
