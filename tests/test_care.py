"""Doors that hang: what may be done to them, the yearly inspection, troubles, and what is refused.

Facts checked against the outside name their source. NFPA 80 is quoted as trade articles and adopted texts report it;
what rests on memory only is said to.
"""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any, get_args

import networkx as nx
import pytest
import yaml
from talking import Talk, mind
from typer.testing import CliRunner

from advisor.conversation.care import CareTalk
from advisor.conversation.mind import load
from advisor.conversation.speak import Speaker
from advisor.errors import KnowledgeError
from advisor.front.cli import app
from advisor.knowledge.care import After, Care, Label, Person, Verdict, load_care
from advisor.knowledge.graph import KnowledgeGraph
from advisor.yaml_files import data_folder

SENTENCES = yaml.safe_load((Path(__file__).parent / "care_sentences.yaml").read_text(encoding="utf-8"))
FOLDER = data_folder("knowledge_graph")

# The thirteen items of NFPA 80 (2013 and later) 5.2 for swinging doors with builders hardware, by a word each.
INSPECTED = ("label", "holes", "Glass", "hinges", "missing", "gaps", "closer", "inactive leaf closes first",
             "latch", "Nothing added", "change was made", "gaskets", "Signs")  # fmt: skip

# The trade's words for what is wrong with a door, as the counter's vocabulary has them.
DEFECTS = (
    "bolt hole full of dirt", "closer leaking", "closer too fast", "closer too slow", "closer too strong",
    "coordinator fails", "deadbolt on egress door", "does not close", "does not latch", "dogged device on fire door",
    "door out of alignment", "door sags", "door warped", "excess gap", "flush bolt stuck", "glass broken",
    "hinge binding", "hinge loose", "holes in door", "label missing", "latch scraping", "missing part",
    "no closer on fire door", "panic bar stuck", "rust", "strike worn", "undercut too large", "weatherstrip torn",
    "wedge holding fire door",
)  # fmt: skip

# NFPA 80 4.1.3 (to 2019), 5.1.5 (2022), as trade articles quote it: work on a labelled door and its verdict.
VERDICTS: dict[str, Verdict] = {
    "drill_small_hole": "on_site",  # 4.1.3: round, 1 in at most
    "drill_cylinder_hole": "on_site",  # 4.1.3: cylinder holes of any diameter, function holes of mortise locks
    "add_viewer": "on_site",  # 4.1.3: labelled viewers
    "undercut_wood": "on_site",  # 4.1.3: wood and composite, 3/4 in at most
    "plate_low": "on_site",  # 6.4.5: top not over 16 in above the door bottom
    "plate_high": "on_site",  # 6.4.5: over 16 in, labelled and per its listing
    "hinge_shims": "on_site",  # 6.4.3: steel
    "fill_holes": "on_site",  # 5.5.7 (2013): steel fasteners or the same material
    "drill_large_hole": "approval",  # 4.1.3; from 2016 by both listings
    "undercut_wood_more": "approval",  # 4.1.3
    "undercut_metal": "approval",  # 4.1.3: the list names wood and composite only
    "cut_mortise_lock": "approval",  # 4.1.3, 5.1.5
    "cut_bored_lock": "approval",  # 4.1.3, 5.1.5
    "cut_electric_strike": "approval",  # 4.1.3, 5.1.5
    "cut_concealed_rods": "approval",  # from memory
    "cut_vision_lite": "approval",  # from memory
    "cut_raceway": "approval",  # from memory
    "cut_louver": "approval",  # common practice: door listings
    "retrofit_fire_exit_hardware": "approval",  # 6.4.4: the door's label has to name it
    "cut_louver_corridor": "never",  # IBC 709.5, 710.5, 716.2.2.1.1 (2021)
    "paint_label": "never",  # 5.2, item 1: labels visible and legible
    "add_kick_down": "never",  # 6.1.4
}

# A sentence a reply must hold, and the source outside that says so.
OUTSIDE = [
    ("undercut_too_large", "At most 3/4 in under a fire door", "NFPA 80 4.8.4 (2007-2016)"),
    ("excess_gap", "1/16 to 3/16 in for steel doors", "NFPA 80 6.3.1.7"),
    ("excess_gap", "at most 1/8 in for wood", "NFPA 80 6.3.1.7"),
    ("excess_gap", "3/16 in for 20 minute wood doors in steel frames from 2016", "NFPA 80-2016 6.3.1.7"),
    ("closer_too_strong", "5 lbf is the limit for an unrated inside door", "IBC 1010.1.3, ADA 404.2.9"),
    ("closer_too_fast", "at least 5 seconds from 90 to 12 degrees", "ADA 404.2.8.1"),
    ("missing_part", "three up to 90 in of height, four up to 120 in", "NFPA 80 6.4.3"),
    ("add_sign_glued", "5 percent of the face; 151 sq in on a 3-0 x 7-0 door", "NFPA 80 4.1.4 (to 2019)"),
    ("add_sign_2022", "up to four steel fasteners", "NFPA 80-2022 4.1.6"),
    ("cut_louver", "24 x 24 in, in the lower half of a 45 or 90 minute door", "common practice: door listings"),
    ("added_deadbolt", "for up to 10 people", "IBC 2018 1010.1.9.4 item 4, 2021 1010.2.4 item 5"),
    ("hinge_shims", "Steel shims only", "NFPA 80 6.4.3"),
    ("fill_holes", "A plate over the hole, caulk or body filler alone does not count", "NFPA 80-2013 5.5.7"),
]


@pytest.fixture(scope="module")
def care() -> Care:
    return mind().care


@pytest.fixture
def talk() -> Iterator[Talk]:
    talking = Talk()
    yield talking
    talking.counter.close()


@pytest.fixture(scope="module")
def raw() -> dict[str, dict[str, Any]]:
    names = ("field_work", "inspection", "troubles", "refusals")
    return {name: yaml.safe_load((FOLDER / "care" / f"{name}.yaml").read_text(encoding="utf-8")) for name in names}


def texts_of(data: Any) -> list[str]:
    if isinstance(data, dict):
        return [text for value in data.values() for text in texts_of(value)]
    if isinstance(data, list):
        return [text for value in data for text in texts_of(value)]
    return [str(data)]


# What is there


def test_the_yearly_inspection_has_its_thirteen_items_in_order(care: Care) -> None:
    assert [item.number for item in care.inspection] == list(range(1, 14))
    for word, item in zip(INSPECTED, care.inspection, strict=True):
        assert word in item.title, item.place


def test_every_item_of_the_inspection_says_what_fails_what_mends_and_what_becomes_of_the_label(care: Care) -> None:
    for item in care.inspection:
        assert item.fails, item.place
        assert item.mends, item.place
        assert item.works or item.troubles, item.place
    assert {item.after for item in care.inspection} == set(get_args(After))


@pytest.mark.parametrize("defect", DEFECTS)
def test_every_defect_of_the_trade_leads_to_its_causes(defect: str, care: Care) -> None:
    trouble = care.trouble(defect)
    assert trouble is not None
    assert trouble.causes != ()


def test_every_trouble_the_listener_hears_is_known_unless_it_is_about_another_door(care: Care) -> None:
    heard = {term.about for term in mind().book.terms.values() if term.wants == "trouble" and term.about}
    assert heard - set(care.by_defect) <= {"hollow core wood", "fire label missing"}


@pytest.mark.parametrize(("name", "verdict"), VERDICTS.items())
def test_work_on_a_labelled_door_has_the_verdict_the_standard_gives(name: str, verdict: Verdict, care: Care) -> None:
    assert care.works[name].verdict == verdict


def test_every_fact_about_work_on_site_is_carried(care: Care) -> None:
    carried = {fact for work in care.works.values() for fact in work.facts}
    assert {"N80-040", "N80-041", "N80-043", "N80-044", "N80-045", "N80-046", "N80-054", "N80-065"} <= carried
    assert {"N80-011", "N80-061", "N80-062", "N80-063"} <= carried


def test_sizes_of_one_matter_leave_no_length_out_and_take_none_twice(care: Care) -> None:
    for about in ("drill_hole", "add_plate"):
        works = care.works_of(about, ())
        for inches in (Fraction(1, 8), Fraction(3, 4), Fraction(1), Fraction(9, 8), Fraction(16), Fraction(17)):
            assert len([work for work in works if work.size is None or work.size.holds(inches)]) == 1, (about, inches)


def test_every_text_is_plain(raw: dict[str, dict[str, Any]]) -> None:
    for text in texts_of(raw):
        assert "!" not in text
        assert not text.endswith(" ,")
    for name, entry in (pair for part in raw.values() for pair in part.items()):
        for key in ("limits", "instead", "mends", "fire_door"):
            for line in entry.get(key, ()):
                assert re.match(r"[A-Z0-9]", line), (name, line)
                assert line.endswith("."), (name, line)


def test_every_person_verdict_and_fate_of_a_label_has_its_wording() -> None:
    wording = mind().book.wording
    names = [f"care_person_{name}" for name in get_args(Person)]
    names += [f"care_verdict_{name}" for name in get_args(Verdict)]
    names += [f"care_label_{name}" for name in get_args(Label)] + [f"care_after_{name}" for name in get_args(After)]
    assert set(names) <= set(wording)


# The graph


def test_the_graph_runs_from_trouble_to_cause_to_check_to_mend_without_a_circle(care: Care) -> None:
    assert nx.is_directed_acyclic_graph(care.nx)
    for trouble in care.troubles.values():
        for number, cause in enumerate(trouble.causes, 1):
            steps = [
                f"trouble:{trouble.name}",
                *(f"{kind}:{trouble.name}:{number}" for kind in ("cause", "check", "mend")),
            ]
            assert nx.is_path(care.nx, steps), trouble.place
            assert [care.nx.edges[steps[0], steps[1]]["order"]] == [number]
            assert {f"work:{name}" for name in cause.works} == set(care.nx.successors(steps[-1]))


def test_every_trouble_work_item_and_refusal_is_explained_by_a_rule_of_the_graph(care: Care) -> None:
    kinds = (("trouble", care.troubles), ("work", care.works), ("refusal", care.refusals))
    nodes = [f"{kind}:{name}" for kind, named in kinds for name in named]
    nodes += [f"inspection:{item.name}" for item in care.inspection]
    for node in nodes:
        ends = [chain[-1].removeprefix("rule:") for chain in care.explanation(node)]
        assert any(end in mind().graph.rules for end in ends), node


def test_an_explanation_goes_from_the_trouble_over_the_mend_to_the_rule(care: Care) -> None:
    chain = [
        "trouble:sags",
        "cause:sags:3",
        "check:sags:3",
        "mend:sags:3",
        "work:hinge_shims",
        "rule:field/steel_shims",
    ]
    assert chain in care.explanation("trouble:sags")


def test_everything_that_can_be_asked_about_is_heard_by_some_phrase(care: Care) -> None:
    graph = mind().graph
    abouts = {term.about for term in mind().book.terms.values() if term.about}
    items = {term.mentions for term in mind().book.terms.values() if term.mentions} | set(graph.kinds)
    for entry in (*care.works.values(), *care.refusals.values()):
        assert any(topic.about in abouts | items for topic in entry.heard), entry.place
    for defect in care.by_defect:
        assert defect in abouts, defect


def test_every_phrase_about_work_or_a_wish_leads_somewhere(care: Care) -> None:
    for term in mind().book.terms.values():
        if term.wants in ("field_work", "unsafe_wish") and term.about and term.about != "on_site_list":
            words = [word for phrase in term.phrases for word in phrase.split()]
            assert care.works_of(term.about, words) or care.refusals_of(term.about, words), term.place


# What comes back


def named(talk: Talk, turn: dict[str, Any]) -> set[str]:
    """The entries a turn tells, by name: from its data, or for a refusal by the title of the entry."""
    care = mind().care
    if turn["answer"]:
        value = turn["answer"]["value"]
        told = value if isinstance(value, list) else [value]
        if not all(isinstance(each, dict) for each in told):
            return {turn["answer"]["about"]}
        by_title = {work.title: name for name, work in care.works.items()}
        by_title |= {refusal.thing: name for name, refusal in care.refusals.items()}
        return {each.get("trouble") or by_title[each.get("work") or each.get("thing")] for each in told}
    titles = {work.title: name for name, work in care.works.items()}
    titles |= {refusal.thing: name for name, refusal in care.refusals.items()}
    starts = {line.strip() for line in turn["reply"].splitlines()}
    return {
        name for title, name in titles.items() if any(line == title or line.startswith(f"{title}") for line in starts)
    }


@pytest.mark.parametrize("sentence", SENTENCES, ids=[each["said"] for each in SENTENCES])
def test_a_customers_sentence_gets_its_answer(sentence: dict[str, Any], talk: Talk) -> None:
    if "opening" in sentence:
        talk.say(sentence["opening"])
    turn = talk.say(sentence["said"])
    assert (turn["kind"], sorted(named(talk, turn))) == (sentence["kind"], sorted(sentence["about"]))
    for piece in sentence["says"]:
        assert piece.lower() in turn["reply"].lower(), turn["reply"]
    for piece in sentence.get("not", ()):
        assert piece.lower() not in turn["reply"].lower(), turn["reply"]
    talk.counter.close()


def test_there_are_sixty_sentences_of_every_sort(care: Care) -> None:
    assert len(SENTENCES) >= 60
    asked = {name for each in SENTENCES for name in each["about"]}
    assert set(care.refusals) <= asked


@pytest.mark.parametrize("name", mind().care.refusals)
def test_a_refusal_names_every_rule_that_bars_it_and_what_does_the_job(name: str, care: Care, talk: Talk) -> None:
    sentence = next(each for each in SENTENCES if name in each["about"])
    turn = talk.say(*([sentence["opening"]] if "opening" in sentence else []), sentence["said"])
    refusal, graph = care.refusals[name], mind().graph
    assert refusal.rules
    for rule in refusal.rules:
        assert graph.rules[rule].sentence in turn["reply"]
    if turn["kind"] == "refusal":
        assert refusal.because in turn["reply"]
        assert all(line in turn["reply"] for line in refusal.instead)
    talk.counter.close()


@pytest.mark.parametrize(("name", "sentence", "outside"), OUTSIDE)
def test_a_figure_stands_as_the_source_outside_gives_it(name: str, sentence: str, outside: str, care: Care) -> None:
    raw = {
        part: yaml.safe_load((FOLDER / "care" / f"{part}.yaml").read_text())
        for part in ("field_work", "troubles", "refusals")
    }
    entries = [part[name] for part in raw.values() if name in part]
    assert any(sentence in text for entry in entries for text in texts_of(entry)), outside


def test_an_open_rating_gets_both_answers_and_a_known_one_its_own() -> None:
    replies = {}
    for opening in (None, "90 minute wood door", "wood door, not rated"):
        talk = Talk()
        replies[opening] = talk.say(*([opening] if opening else []), "can I cut a mortise pocket?")["reply"]
        talk.counter.close()
    assert "On a fire door:" in replies[None]
    assert "On a door with no fire rating:" in replies[None]
    assert "On this fire door:" in replies["90 minute wood door"]
    assert "no fire rating" not in replies["90 minute wood door"]
    assert "This door has no fire rating:" in replies["wood door, not rated"]
    assert "label is void" not in replies["wood door, not rated"]


def test_the_doors_material_said_in_the_question_decides_which_work_it_is(talk: Talk) -> None:
    assert named(talk, talk.say("can I undercut a wood fire door by 1/2 inch")) == {"undercut_wood"}
    assert named(talk, talk.say("can I undercut my wood door by 1 inch")) == {"undercut_wood_more"}
    talk.counter.close()


def test_an_unrated_door_is_told_no_limits_of_fire_doors_with_its_trouble(talk: Talk) -> None:
    reply = talk.say("office door, not rated", "it won't latch")["reply"]
    assert "fire door" not in reply.split("The authority")[0]
    talk.counter.close()


@pytest.mark.parametrize("said", ["can I add a hasp", "it won't latch", "can I undercut it", "can I use flush bolts"])
def test_the_question_waiting_is_asked_again_and_the_opening_kept(said: str, talk: Talk) -> None:
    before = talk.say("pair of 90 minute hollow metal doors, storage room")
    turn = talk.say(said)
    assert turn["question"] == before["question"]
    assert turn["question"]["text"] in turn["reply"]
    assert turn["facts"] == before["facts"]
    after = talk.say("a warehouse")
    assert after["facts"]["occupancy"] == "storage"
    talk.counter.close()


def test_a_fact_said_with_a_trouble_is_noted_and_the_next_question_asked(talk: Talk) -> None:
    before = talk.say("pair of 90 minute hollow metal doors, storage room")
    turn = talk.say("warehouse, and it won't latch")
    assert turn["kind"] == "answer"
    assert turn["facts"]["occupancy"] == "storage"
    assert turn["question"] is not None
    assert turn["question"]["fact"] != before["question"]["fact"]
    talk.counter.close()


def test_a_wish_that_is_only_supposed_leaves_the_opening_as_it_was(talk: Talk) -> None:
    before = talk.say("single 90 minute stair door")
    turn = talk.say("what if we prop it open")
    assert (turn["kind"], turn["facts"]) == ("refusal", before["facts"])
    talk.counter.close()


@pytest.mark.parametrize(
    "opening",
    [
        "add a panic bar to a single hollow metal classroom door, not rated, existing",
        "change the closer on an existing hollow metal office door, 20 minutes",
        "replace broken hardware on a pair of wood doors, gym",
    ],
)
def test_an_order_that_describes_an_opening_is_taken_as_one(opening: str, talk: Talk) -> None:
    turn = talk.say(opening)
    assert turn["kind"] == "question"
    assert turn["facts"]["door_material"] is not None
    talk.counter.close()


def test_a_wish_and_a_trouble_in_one_breath_are_both_answered(talk: Talk) -> None:
    turn = talk.say("can I prop it open? it slams")
    assert turn["kind"] == "refusal"
    assert mind().care.troubles["closer_too_fast"].symptom in turn["reply"]
    talk.counter.close()


@pytest.mark.parametrize(
    ("said", "name"),
    [("can I cut a window in", "cut_vision_lite"), ("can we drill a raceway", "cut_raceway"),
     ("can I change the closer?", "change_closer")],
)  # fmt: skip
def test_what_is_from_memory_says_so(said: str, name: str, care: Care, talk: Talk) -> None:
    assert care.works[name].source.basis == "from_memory"
    assert f"Source: {mind().book.wording['memory_note']}." in talk.say(said)["reply"]
    talk.counter.close()


@pytest.mark.parametrize("said", ["what does the inspector look at?", "fire door inspection checklist"])
def test_the_thirteen_items_are_told_in_conversation(said: str, talk: Talk, care: Care) -> None:
    turn = talk.say(said)
    assert (turn["kind"], turn["answer"]["about"]) == ("answer", "inspection")
    assert all(f"{item.number}. {item.title}" in turn["reply"] for item in care.inspection)


def test_what_may_be_done_on_site_is_listed_by_verdict(talk: Talk, care: Care) -> None:
    turn = talk.say("what may be done to a fire door on site?")
    told = {name: verdict for verdict, names in turn["answer"]["value"].items() for name in names}
    assert told == {work.title: work.verdict for work in care.works.values()}


def test_whether_an_item_may_be_used_is_judged_by_the_opening(talk: Talk) -> None:
    talk.say("new pair of hollow metal doors, not rated, hospital corridor, used to get out, inactive leaf not needed")
    turn = talk.say("can I use manual flush bolts")
    assert (turn["kind"], turn["answer"]["about"]) == ("answer", "flush_bolt_manual")
    assert turn["answer"]["value"] != [mind().book.wording["care_allowed"]]
    allowed = talk.say("can I use a closer")
    assert allowed["answer"]["value"] == [mind().book.wording["care_allowed"]]
    talk.counter.close()


@pytest.mark.parametrize("said", ["leave the coordinator off", "take off the coordinator", "do without a coordinator"])
def test_leaving_an_item_off_is_not_taken_for_using_it(said: str, talk: Talk) -> None:
    talk.say("new pair of 90 minute hollow metal doors, warehouse, storage room")
    turn = talk.say(f"can we {said}?")
    assert mind().book.wording["care_allowed"] not in turn["reply"]
    assert turn["answer"]["about"] == "coordinator"
    turn = talk.say("can we zorble the coordinator?")
    assert mind().book.wording["care_allowed"] not in turn["reply"]


# Starting, commands


def test_loading_the_mind_reads_nothing_under_care() -> None:
    assert "care" not in load().__dict__


def test_the_checklist_is_printed_for_people_and_for_machines() -> None:
    run = CliRunner()
    text, data = run.invoke(app, ["inspect"]), json.loads(run.invoke(app, ["inspect", "--json"]).stdout)
    assert text.exit_code == 0
    assert [item["number"] for item in data["items"]] == list(range(1, 14))
    for item in data["items"]:
        assert f"{item['number']}. {item['item']}" in text.stdout
        assert all(mend in text.stdout for mend in item["mends"])


@pytest.mark.parametrize(
    ("words", "code", "piece"),
    [
        (["trouble", "wont", "latch"], 0, "does not latch"),
        (["trouble", "wedge"], 0, "wedged or blocked open"),
        (["trouble", "qwerty"], 1, "I know no trouble"),
        (["may", "drill", "a", "2-1/8", "hole", "in", "a", "fire", "door"], 0, "approval"),
        (["may", "padlock", "the", "exit"], 0, "not allowed"),
        (["may", "dance"], 1, "I know no such work"),
    ],
)
def test_a_command_answers_or_says_that_it_can_not(words: list[str], code: int, piece: str) -> None:
    result = CliRunner().invoke(app, words)
    assert (result.exit_code, piece in result.stdout) == (code, True), result.output


def test_a_command_answers_machines_too() -> None:
    data = json.loads(CliRunner().invoke(app, ["trouble", "--json", "won't", "latch"]).stdout)
    assert (data["kind"], data["about"], data["value"]["trouble"]) == ("answer", "does_not_latch", "does_not_latch")
    assert data["sources"] != []


def test_the_inspection_as_data_is_what_the_graph_holds(care: Care) -> None:
    _, data = CareTalk(mind(), Speaker(mind())).inspection()
    assert [item["name"] for item in data["items"]] == [item.name for item in care.inspection]


# Bad files


def refused(graph: KnowledgeGraph, tmp_path: Path, name: str, content: str) -> str:
    """What loading says with another folder laid over that holds one file."""
    folder = tmp_path / "over"
    (folder / "care").mkdir(parents=True)
    (folder / "care" / f"{name}.yaml").write_text(content, encoding="utf-8")
    with pytest.raises(KnowledgeError) as caught:
        load_care(graph, FOLDER, folder)
    return str(caught.value)


WORK = (
    "x:\n  work: X\n  heard: [x]\n  verdict: on_site\n  label: kept\n  because: Y.\n  turn_to: [installer]\n"
    "  rules: [fire/labels]\n  source: {common_practice: true}\n"
)
TROUBLE = (
    "x:\n  symptom: X\n  defects: [x]\n  causes:\n    - {cause: a, check: b, mend: c}\n  fire_door: [D.]\n"
    "  turn_to: [installer]\n  rules: [fire/labels]\n  source: {common_practice: true}\n"
)
REFUSAL = "x:\n  thing: X\n  heard: [x]\n  because: Y.\n  instead: [Z.]\n  rules: [fire/labels]\n"
ITEM = (
    "x:\n  number: 14\n  item: X\n  look_at: Y\n  fails: [a]\n  mends: [B.]\n  after: kept\n  rules: [fire/labels]\n"
    "  source: {common_practice: true}\n"
)


@pytest.mark.parametrize(
    ("name", "content"), [("field_work", WORK), ("troubles", TROUBLE), ("refusals", REFUSAL), ("inspection", ITEM)]
)
def test_a_folder_laid_over_adds_entries(name: str, content: str, graph: KnowledgeGraph, tmp_path: Path) -> None:
    (tmp_path / "care").mkdir()
    (tmp_path / "care" / f"{name}.yaml").write_text(content, encoding="utf-8")
    laid = load_care(graph, FOLDER, tmp_path)
    found = {**laid.works, **laid.troubles, **laid.refusals, **{item.name: item for item in laid.inspection}}
    assert "x" in found


@pytest.mark.parametrize(
    ("name", "content", "line", "piece"),
    [
        ("field_work", WORK.replace("fire/labels", "fire/label"), 8, "There is no rule 'fire/label'"),
        ("field_work", WORK.replace("on_site", "maybe"), 4, "'verdict' can't be 'maybe'"),
        ("field_work", WORK.replace("label: kept", "label: lost"), 5, "does not leave the label 'lost'"),
        ("field_work", WORK.replace("[installer]", "[nobody]"), 7, "'nobody' is nobody to turn to"),
        ("field_work", WORK.replace("heard: [x]", "heard: []"), 3, "'heard' names nothing"),
        ("field_work", WORK + "  size: {at_most: much}\n", 10, "'much' is no number"),
        ("field_work", WORK + "  size: {at_least: 1}\n", 10, "The key 'at_least' is not known here"),
        ("field_work", WORK + "  size: big\n", 10, "'size' takes bounds"),
        ("field_work", WORK + "  when: {colour: red}\n", 10, "There is no fact 'colour'"),
        ("field_work", WORK + "  when: {undercut_in: 1}\n", 10, "reads no quantity"),
        ("field_work", WORK + "  when: {needs: listed_hardware}\n", 10, "not requirements"),
        ("field_work", WORK + "  only_asked: perhaps\n", 10, "'only_asked' can't be 'perhaps'"),
        ("field_work", WORK + "  limit: [A.]\n", 10, "The key 'limit' is not known here"),
        ("field_work", WORK.replace("  because: Y.\n", ""), 1, "The key 'because' is missing"),
        ("field_work", WORK.replace("{common_practice: true}", "{work: nfpa, section: 1}"), 9, "no work 'nfpa'"),
        ("field_work", WORK.replace("x:\n", "add_viewer:\n", 1), 1, "already declared"),
        ("troubles", TROUBLE.replace("mend: c", "mend: c, works: [magic]"), 5, "There is no work 'magic'"),
        ("troubles", TROUBLE.replace("defects: [x]", "defects: [rust]"), 1, "also stands at"),
        ("troubles", TROUBLE.replace("\n    - {cause: a, check: b, mend: c}", " []"), 4, "at least one cause"),
        ("troubles", TROUBLE.replace("- {cause: a, check: b, mend: c}", "- a cause"), 4, "A cause is a mapping"),
        ("troubles", TROUBLE.replace(", mend: c", ""), 5, "The key 'mend' is missing"),
        ("refusals", REFUSAL + "  where: here\n", 1, "stand together or not at all"),
        ("refusals", REFUSAL.replace("[Z.]", "[]"), 5, "'instead' names nothing"),
        ("refusals", REFUSAL.replace("thing: X", "thing: ''"), 2, "'thing' must be text"),
        ("inspection", ITEM.replace("14", "13"), 1, "also stands at"),
        ("inspection", ITEM.replace("14", "last"), 2, "must be a whole number"),
        ("inspection", ITEM.replace("after: kept", "after: gone"), 7, "'after' can't be 'gone'"),
        ("inspection", ITEM + "  troubles: [bad luck]\n", 1, "There is no trouble 'bad luck'"),
    ],
)  # fmt: skip
def test_a_bad_file_is_refused_with_its_line(
    name: str, content: str, line: int, piece: str, graph: KnowledgeGraph, tmp_path: Path
) -> None:
    said = refused(graph, tmp_path, name, content)
    assert said.startswith(f"over/care/{name}.yaml:{line}: "), said
    assert piece in said


def test_check_tells_of_a_bad_file(tmp_path: Path) -> None:
    over = tmp_path / "over"
    (over / "care").mkdir(parents=True)
    (over / "care" / "refusals.yaml").write_text(REFUSAL.replace("fire/labels", "fire/none"), encoding="utf-8")
    result = CliRunner().invoke(app, ["check", "--knowledge", str(over)])
    assert result.exit_code == 1
    assert "over/care/refusals.yaml:6: There is no rule 'fire/none'" in result.stdout


def test_a_whole_folder_without_care_has_none(graph: KnowledgeGraph, tmp_path: Path) -> None:
    copied = tmp_path / "knowledge_graph"
    shutil.copytree(FOLDER, copied, ignore=shutil.ignore_patterns("care"))
    assert load_care(graph, copied).nx.number_of_nodes() == 0
