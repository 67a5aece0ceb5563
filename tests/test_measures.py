"""Lengths as the trade writes them, the measures, and the figures and sizes that go with items."""

from __future__ import annotations

import doctest
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from itertools import product
from pathlib import Path
from string import Formatter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.errors import KnowledgeError
from advisor.facts import Between, Entry, FactSheet, OneOf, Possible
from advisor.knowledge import lengths, measures
from advisor.knowledge.conditions import facts_read, number
from advisor.knowledge.lengths import decimal, feet_and_inches, millimetres, written
from advisor.knowledge.load import load_knowledge
from advisor.knowledge.lookups import load_lookups
from advisor.knowledge.measures import MEASURES, Known
from advisor.knowledge.parts import Figure, Table
from advisor.logic import NO, YES
from advisor.reasoning.figures import figures_for, row_of, size_of, work_out
from advisor.reasoning.infer import Findings, Judge
from advisor.yaml_files import data_folder

GRAPH = load_knowledge(data_folder("knowledge_graph"))
LOOKUPS = load_lookups(GRAPH, data_folder("knowledge_graph"))
FIGURES = sorted(GRAPH.figures)
MEASURED = [name for name in FIGURES if GRAPH.figures[name].measure]
ONE_OF_EACH = sorted({GRAPH.figures[name].measure: name for name in MEASURED}.values())
TABLES = sorted(GRAPH.tables)
SIXTEENTHS = st.integers(min_value=0, max_value=4000).map(lambda count: Fraction(count, 16))


def exactly(text: str) -> Between:
    return Between(number(text), number(text))


def said(**facts: str | tuple[str, str]) -> FactSheet:
    """A sheet: a number is exact, a pair of numbers a range, anything else a choice."""
    entries = {}
    for fact, value in facts.items():
        possible: Possible
        if isinstance(value, tuple):
            possible = Between(number(value[0]), number(value[1]))
        elif GRAPH.kinds[fact].kind == "quantity":
            possible = exactly(value)
        else:
            possible = OneOf(frozenset(GRAPH.kinds[fact].finest(value)))
        entries[fact] = Entry(possible, "")
    return FactSheet(entries)


def lines(judge: Judge, item: str, sheet: FactSheet, leaf: str = "active") -> dict[str, tuple[str | None, list[str]]]:
    findings = judge.infer(judge.said(sheet))
    return {line.name: (line.text, sorted(line.waits_for)) for line in figures_for(judge, item, findings, sheet, leaf)}


def size(judge: Judge, item: str, sheet: FactSheet, leaf: str = "active") -> str:
    return size_of(judge, item, judge.infer(judge.said(sheet)), sheet, leaf)


# --- lengths


@pytest.mark.parametrize("module", [lengths, measures])
def test_the_examples_in_the_docs_run(module: object) -> None:
    result = doctest.testmod(module)  # type: ignore[arg-type]
    assert result.attempted > 0
    assert result.failed == 0


@given(st.integers(min_value=-50000, max_value=50000).map(lambda count: Fraction(count, 64)))
def test_a_length_in_sixty_fourths_is_written_exactly(inches: Fraction) -> None:
    text = written(inches)
    back = number(text.removeprefix("-").removesuffix('"'))
    assert (-back if text.startswith("-") else back) == inches


@given(st.fractions(min_value=0, max_value=200))
def test_what_is_not_exact_is_marked(inches: Fraction) -> None:
    assert written(inches).startswith("≈") == (64 % inches.denominator != 0)
    assert feet_and_inches(inches).startswith("≈") == (64 % inches.denominator != 0)
    assert millimetres(inches).startswith("≈") == ((inches * Fraction(254, 10)).denominator != 1)
    assert decimal(inches).startswith("≈") == ((inches * 1000).denominator != 1)


@given(SIXTEENTHS)
def test_feet_and_inches_add_up(inches: Fraction) -> None:
    feet, rest = feet_and_inches(inches).removesuffix('"').split("'-")
    assert int(feet) * 12 + number(rest) == inches
    assert number(rest) < 12


def test_half_a_millimetre_goes_up() -> None:
    assert millimetres(Fraction(5, 254)) == "≈ 1 mm"
    assert millimetres(Fraction(4, 254)) == "≈ 0 mm"


# --- measures over what is still possible


def possible_values(name: str) -> st.SearchStrategy[Possible]:
    kind = GRAPH.kinds[name]
    if kind.kind != "quantity":
        return st.sets(st.sampled_from(kind.choices), min_size=1).map(lambda values: OneOf(frozenset(values)))
    low, high = int((kind.low or 0) * 16), int((kind.high or 0) * 16)
    ends = st.tuples(st.integers(low, high), st.integers(low, high))
    return ends.map(lambda pair: Between(Fraction(min(pair), 16), Fraction(max(pair), 16)))


def inside(possible: Possible) -> st.SearchStrategy[Fraction | str]:
    if isinstance(possible, OneOf):
        return st.sampled_from(sorted(possible.values))
    assert possible.at_least is not None
    assert possible.at_most is not None
    return st.fractions(possible.at_least, possible.at_most, max_denominator=64)


@pytest.mark.parametrize("name", ONE_OF_EACH)
@given(data=st.data())
def test_a_measure_never_leaves_the_range_it_gives(name: str, data: st.DataObject) -> None:
    figure = GRAPH.figures[name]
    measure = MEASURES[figure.measure]
    values = {fact: data.draw(possible_values(fact), label=fact) for fact in measure.reads}
    case = {fact: data.draw(inside(possible), label=fact) for fact, possible in values.items()}
    exact = measure.formula(Known(case, figure.amounts))
    worked = measure.compute(values, figure.amounts)
    waits = measure.waits_for(values, figure.amounts)
    if worked is None:
        assert exact is None or waits
        return
    assert exact is not None
    assert len(exact) == len(worked)
    for part, between in zip(exact, worked, strict=True):
        assert between.at_least is not None
        assert between.at_most is not None
        assert between.at_least <= part <= between.at_most
    if not waits:
        assert [between.exact for between in worked] == list(exact)


def test_an_open_end_leaves_a_measure_open() -> None:
    values: dict[str, Possible] = {"leaf_height_in": Between(Fraction(84), None)}
    measure, amounts = MEASURES["top_bolt"], {"rod": (Fraction(12),)}
    assert measure.compute(values, amounts) is None
    assert measure.waits_for(values, amounts) == {"leaf_height_in"}


def test_a_measure_waits_only_for_what_changes_it() -> None:
    amounts = GRAPH.figures["plate_width"].amounts
    values: dict[str, Possible] = {
        "leaves": OneOf(frozenset(("single",))),
        "leaf_width_in": exactly("36"),
        "removable_mullion_accepted": OneOf(frozenset(("no", "yes"))),
    }
    assert MEASURES["plate_width"].waits_for(values, amounts) == frozenset()
    values["leaves"] = OneOf(frozenset(("pair",)))
    assert MEASURES["plate_width"].waits_for(values, amounts) == {"removable_mullion_accepted"}
    assert MEASURES["plate_width"].compute(values, amounts) == (Between(Fraction(34), Fraction(35)),)


def test_a_range_over_a_jump_takes_in_both_sides() -> None:
    figure = GRAPH.figures["hinge_clears"]
    values: dict[str, Possible] = {"thickness_in": Between(Fraction(9, 4), Fraction(5, 2))}
    worked = MEASURES["hinge_clears"].compute(values, figure.amounts)
    assert worked is not None
    just_above = Fraction(9, 4) + Fraction(1, 1024)
    assert worked[0].at_least == Fraction(1, 4)
    assert worked[0].at_most == Fraction(9, 2) - 2 * (just_above - Fraction(3, 8))


def test_equal_leaves_need_no_width_for_the_bolt_strikes(judge: Judge) -> None:
    found = lines(judge, "flush_bolt_manual_metal", said(leaves="pair", meeting_edge_gap_in="3/16"), "inactive")
    assert found["bolt_strike_center"] == (
        'centers 27/32" from the center of the opening, toward the inactive leaf',
        [],
    )
    assert "bolt_meeting_line" not in found


def test_unequal_leaves_shift_the_bolt_strikes_with_their_meeting_line(judge: Judge) -> None:
    sheet = said(leaves="unequal_pair", leaf_width_in="36", inactive_leaf_width_in="24", meeting_edge_gap_in="1/8")
    figures, findings = judge.graph.figures, judge.infer(judge.said(sheet))
    for leaf in ("active", "inactive", "opening"):
        worked = work_out(judge, figures["bolt_strike_center"], findings, sheet, leaf)
        assert worked.parts == (exactly("6 13/16"),)
        worked = work_out(judge, figures["bolt_meeting_line"], findings, sheet, leaf)
        assert worked.parts == (exactly("6"), exactly("13/16"))


def test_a_single_door_has_no_bolt_strikes(judge: Judge) -> None:
    assert "bolt_strike_center" not in lines(judge, "flush_bolt_manual_metal", said(leaves="single"))


def test_no_stock_rod_reaches_a_very_tall_door(judge: Judge) -> None:
    assert lines(judge, "flush_bolt_manual_metal", said(leaf_height_in="120"))["bolt_rod_within_reach"][0] is not None
    assert "bolt_rod_within_reach" not in lines(judge, "flush_bolt_manual_metal", said(leaf_height_in="121"))


def test_the_bar_is_always_the_overlap_longer_than_the_active_leaf(judge: Judge) -> None:
    sheet = said(leaves="unequal_pair", leaf_width_in="36", inactive_leaf_width_in="10")
    assert size(judge, "coordinator", sheet, "opening") == '42" long'
    assert size(judge, "filler_bar", sheet, "opening") == '2 3/4" long'


# --- figures and sizes of items


def test_the_inactive_leaf_of_an_unequal_pair_has_its_own_width(judge: Judge) -> None:
    sheet = said(
        leaves="unequal_pair", leaf_width_in="36", inactive_leaf_width_in="18", accessible_route="yes", exterior="no"
    )
    assert size(judge, "kick_plate", sheet, "active") == '35" wide x 16" high'
    assert size(judge, "kick_plate", sheet, "inactive") == '17" wide x 16" high'
    assert size(judge, "kick_plate", sheet, "each") == '35" wide x 16" high / 17" wide x 16" high'
    assert [size(judge, "closer", sheet, leaf) for leaf in ("active", "inactive")] == ["size 3", "size 2"]
    assert lines(judge, "exit_device_rim", sheet, "each")["exit_bar_length"] == ('18" / 9"', [])


def test_what_is_missing_is_asked_by_its_own_name(judge: Judge) -> None:
    sheet = said(leaves="unequal_pair", leaf_width_in="36", exterior="no")
    assert lines(judge, "exit_device_rim", sheet, "inactive")["exit_bar_length"] == (None, ["inactive_leaf_width_in"])
    assert lines(judge, "exit_device_rim", sheet, "each")["exit_bar_length"] == (None, ["inactive_leaf_width_in"])
    assert size(judge, "closer", sheet, "each") == ""


def test_equal_leaves_share_one_size(judge: Judge) -> None:
    sheet = said(leaves="pair", leaf_width_in="36", accessible_route="no")
    assert size(judge, "kick_plate", sheet, "each") == '35" wide x 10" high'


def test_a_range_of_facts_gives_a_range_and_says_what_it_waits_for(judge: Judge) -> None:
    sheet = said(leaves="single", leaf_width_in=("36", "42"))
    assert lines(judge, "exit_device_rim", sheet)["exit_bar_length"] == ('18"–21"', ["leaf_width_in"])


def test_nothing_heard_gives_no_figure_at_all(judge: Judge) -> None:
    assert lines(judge, "exit_device_rim", FactSheet())["exit_bar_length"] == (None, ["leaf_width_in"])
    assert size(judge, "kick_plate", FactSheet()) == ""


def test_a_half_open_range_gives_no_figure(judge: Judge) -> None:
    sheet = FactSheet({"leaf_width_in": Entry(Between(Fraction(36), None), "at least 3-0")})
    assert lines(judge, "exit_device_rim", sheet)["exit_bar_length"] == (None, ["leaf_width_in"])


def test_presumed_values_give_figures(judge: Judge) -> None:
    sheet = said(leaves="pair")
    assert 'centers 13/16"' in str(lines(judge, "flush_bolt_manual_metal", sheet, "inactive")["bolt_strike_center"][0])
    assert lines(judge, "hinge_bearing", sheet)["hinge_clears"] == ('up to 1 1/2"', [])


def test_words_taken_back_count_as_nothing_heard(judge: Judge) -> None:
    sheet = FactSheet({"leaf_width_in": Entry(None, "don't know", closed=True)})
    assert lines(judge, "exit_device_rim", sheet)["exit_bar_length"] == (None, ["leaf_width_in"])


def test_a_case_narrows_what_the_sheet_leaves_open(judge: Judge) -> None:
    sheet = said(leaves="single", leaf_width_in=("30", "42"))
    cells = judge.graph.cells["leaf_width_in"]
    findings = judge.infer(judge.said(sheet))
    state = list(findings.state)
    state[judge.graph.fact_index["leaf_width_in"]] = cells.mask(exactly("36"))
    worked = work_out(judge, judge.graph.figures["exit_bar_length"], replace(findings, state=state), sheet)
    assert worked.parts == (exactly("18"),)


def test_figures_for_fire_doors_stay_off_other_doors(judge: Judge) -> None:
    assert "undercut_largest" in lines(judge, "hinge_bearing", said(fire_rating_minutes="20"))
    assert "undercut_largest" not in lines(judge, "hinge_bearing", said(fire_rating_minutes="0"))


def test_figures_come_in_millimetres_too(judge: Judge) -> None:
    sheet = said(leaves="single", leaf_width_in="36", leaf_height_in="84")
    findings = judge.infer(judge.said(sheet))
    assert size_of(judge, "exit_device_rim", findings, sheet, "active") == "for a leaf 3'-0\" x 7'-0\""
    metric = size_of(judge, "exit_device_rim", findings, sheet, "active", "millimetres")
    assert metric == "for a leaf ≈ 914 mm x ≈ 2134 mm"
    sold = {
        line.name: line.text for line in figures_for(judge, "hinge_bearing", findings, sheet, "active", "millimetres")
    }
    assert sold["hinge_metal"] == "≈ 3.4 mm"


def test_an_inch_figure_stays_exact_between_two_leaf_widths(judge: Judge) -> None:
    sheet = said(leaves="single", leaf_width_in="35 13/16")
    assert lines(judge, "exit_device_rim", sheet)["exit_bar_length"] == ('17 29/32"', [])


# --- the data


@pytest.mark.parametrize("name", FIGURES)
def test_every_figure_goes_with_some_item_or_is_looked_up(name: str) -> None:
    shown = any(name in sizing.shows for sizing in LOOKUPS.sizings.values())
    assert shown or any(name in (*item.figures, *item.size) for item in GRAPH.items.values())


def parts_of(figure: Figure) -> int:
    """How many parts a figure has on some opening it applies to."""
    if figure.table:
        rows = [row.value for row in GRAPH.tables[figure.table].rows if row.value != "none"]
        counts = {len(row.split(" x ")) for row in rows}
        assert len(counts) == 1
        return counts.pop()
    measure = MEASURES[figure.measure]
    kinds = [GRAPH.kinds[fact] for fact in measure.reads]
    choices = [kind.choices if kind.kind != "quantity" else (kind.low or Fraction(0), Fraction(72)) for kind in kinds]
    for case in product(*choices):
        result = measure.formula(Known(dict(zip(measure.reads, case, strict=True)), figure.amounts))
        if result is not None:
            return len(result)
    raise AssertionError("the figure never applies")


@pytest.mark.parametrize("name", FIGURES)
def test_every_figure_shows_only_parts_it_has(name: str) -> None:
    figure = GRAPH.figures[name]
    shown = [int(part) for _, part, _, _ in Formatter().parse(figure.show) if part]
    assert shown
    assert max(shown) < parts_of(figure)


@pytest.mark.parametrize("name", MEASURED)
def test_a_measure_reads_declared_facts_and_every_amount_is_used(name: str) -> None:
    figure = GRAPH.figures[name]
    measure = MEASURES[figure.measure]
    assert set(measure.reads) <= GRAPH.kinds.keys()
    materials = set(GRAPH.kinds["door_material"].choices) if figure.measure == "leaf_weight" else set()
    assert set(figure.amounts) <= set(measure.amounts) | materials


def states(judge: Judge, table: Table) -> Iterator[list[int]]:
    """Every combination of cells of the facts a table reads."""
    graph = judge.graph
    facts = sorted({fact for row in table.rows for fact in facts_read(row.when)})
    cells = [[bit for bit, _ in graph.cells[fact].samples(graph.cells[fact].full)] for fact in facts]
    for bits in product(*cells):
        state = list(judge.full)
        for fact, bit in zip(facts, bits, strict=True):
            state[graph.fact_index[fact]] = bit
        yield state


@pytest.mark.parametrize("name", TABLES)
def test_exactly_one_row_holds_for_every_opening(name: str, judge: Judge) -> None:
    table = judge.graph.tables[name]
    none = [NO] * len(judge.graph.requirement_index)
    for state in states(judge, table):
        findings = Findings(state, state, [], none, [])
        assert sum(judge.truth(row.when, findings) == YES for row in table.rows) == 1


def test_a_table_waits_for_the_facts_that_pick_its_row(judge: Judge) -> None:
    sheet = said(exterior="no")
    worked = row_of(judge, judge.graph.tables["closer_size"], judge.infer(judge.said(sheet)), sheet)
    assert (worked.parts, worked.waits_for) == (None, {"leaf_width_in"})


# --- what loading refuses


FIGURE = """
made_up:
  label: Made up
  because: It is made up.
  source: {common_practice: yes}
"""


@pytest.mark.parametrize(
    ("lines_added", "complaint"),
    [
        ("measure: strike_center\n  amounts: {backset: 3/4}", "Did you mean 'strike_centre'?"),
        ("measure: strike_centre", "works with the amount 'backset'"),
        ("measure: half_leaf\n  table: closer_size", "a measure or by a table"),
        ("show: '{0}'", "a measure or by a table"),
        ("table: closer_sizes", "Did you mean 'closer_size'?"),
        ("measure: half_leaf\n  show: '{width}'", "can't hold '{width:}'"),
        ("measure: half_leaf\n  show: '{0:meters}'", "can't hold '{0:meters}'"),
        ("measure: half_leaf\n  show: '{0'", "can't be read"),
        ("measure: half_leaf\n  amounts: {less: two}", "'two' is no number"),
        ("measure: half_leaf\n  amounts: 3", "'amounts' is a mapping"),
    ],
)
def test_a_wrong_figure_is_refused_with_its_place(lines_added: str, complaint: str, tmp_path: Path) -> None:
    folder = tmp_path / "knowledge_graph"
    (folder / "tables").mkdir(parents=True)
    for name in ("facts", "requirements", "sources", "tables/closer_size"):
        (folder / f"{name}.yaml").symlink_to(data_folder("knowledge_graph") / f"{name}.yaml")
    (folder / "tables" / "more_figures.yaml").write_text(f"{FIGURE.rstrip()}\n  {lines_added}\n")
    with pytest.raises(KnowledgeError, match=r"knowledge_graph/tables/more_figures\.yaml:\d+: ") as refused:
        load_knowledge(folder)
    assert complaint in str(refused.value)
