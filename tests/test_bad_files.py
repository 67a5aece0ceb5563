"""Every way a knowledge folder can be wrong is refused with file and line, and with words that help.

Each file in `bad_files/` holds one mistake. Its first line says on which line the mistake stands (counted in the whole
file; 0 where the mistake lies between files) and what the message must say, pieces parted by ` … `. Its second line
says where in the knowledge folder the file would stand, or where in a folder `laid_over` it.
"""

from __future__ import annotations

import ast
import inspect
import random
import shutil
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType

import pytest
import yaml
from plain_judge import Completions, Openings, PlainJudge

from advisor import yaml_files
from advisor.errors import DataError, KnowledgeError, RuleConflict, RuleCycle
from advisor.knowledge import conditions, graph, load
from advisor.knowledge.graph import KnowledgeGraph
from advisor.reasoning.conflicts import _Search, find_conflicts, ready
from advisor.reasoning.infer import Judge
from advisor.yaml_files import data_folder

BAD = sorted((Path(__file__).parent / "bad_files").glob("*.yaml"))
LAID_OVER = "laid_over/"
RAISING = (yaml_files, load, graph, conditions)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    copied = tmp_path_factory.mktemp("bad") / "knowledge_graph"
    shutil.copytree(data_folder("knowledge_graph"), copied)
    return copied


@pytest.fixture
def put(folder: Path) -> Iterator[object]:
    """Puts a file in its place for one test."""
    changed: dict[Path, bytes | None] = {}

    def put(place: str, content: bytes) -> None:
        path = folder.parent / place if place.startswith(LAID_OVER) else folder / place
        path.parent.mkdir(parents=True, exist_ok=True)
        changed[path] = path.read_bytes() if path.exists() else None
        path.write_bytes(content)

    yield put
    for path, before in changed.items():
        if before is None:
            path.unlink()
        else:
            path.write_bytes(before)


def refusal(folder: Path, over: Path | None = None) -> DataError:
    with pytest.raises(KnowledgeError) as caught:
        load.load_knowledge(folder, over) if over else ready(folder)
    return caught.value


REFUSED_AT: set[tuple[str, int]] = set()


def raised_at(trace: TracebackType | None) -> tuple[str, int]:
    """The file and line that raised."""
    assert trace
    while trace.tb_next:
        trace = trace.tb_next
    return trace.tb_frame.f_code.co_filename, trace.tb_lineno


@pytest.mark.parametrize("bad", BAD, ids=lambda path: path.stem)
def test_the_file_is_refused_with_its_place_and_these_words(bad: Path, folder: Path, put: object) -> None:
    first, second, *_ = bad.read_bytes().decode(errors="replace").splitlines()
    line, words = first.removeprefix("# ").split(": ", 1)
    place = second.removeprefix("# ")
    put(place, bad.read_bytes())  # type: ignore[operator]
    over = place.startswith(LAID_OVER)
    problem = refusal(folder, folder.parent / LAID_OVER if over else None)
    REFUSED_AT.add(raised_at(problem.__traceback__))
    message = str(problem)
    if line != "0":
        assert message.startswith(f"{place if over else f'knowledge_graph/{place}'}:{line}: "), message
    for piece in words.split(" … "):
        assert piece in message


def test_a_missing_file_is_named(folder: Path) -> None:
    away = folder / "sources.yaml"
    content = away.read_bytes()
    away.unlink()
    try:
        problem = refusal(folder)
    finally:
        away.write_bytes(content)
    REFUSED_AT.add(raised_at(problem.__traceback__))
    assert str(problem) == "knowledge_graph/sources.yaml:1: The file is missing."


def test_a_missing_data_folder_is_named() -> None:
    with pytest.raises(DataError, match="The data folder 'no_such_folder' was not found") as caught:
        data_folder("no_such_folder")
    REFUSED_AT.add(raised_at(caught.value.__traceback__))


def test_a_circle_and_a_disagreement_are_errors_of_their_own(folder: Path, put: object) -> None:
    bad = {path.stem: path for path in BAD}
    for name, kind in (("implications_in_a_circle", RuleCycle), ("rules_that_disagree", RuleConflict)):
        put(f"rules/bad/{name}.yaml", bad[name].read_bytes())  # type: ignore[operator]
        assert type(refusal(folder)) is kind
        (folder / f"rules/bad/{name}.yaml").write_text("{}")
        put(f"rules/bad/{name}.yaml", (folder / "rules/fire/active_leaf_closes.yaml").read_bytes())  # type: ignore[operator]


def test_every_line_that_refuses_a_file_has_a_bad_file() -> None:
    """Runs last of the file: it looks at what the tests above met."""
    if len(REFUSED_AT) < 20:
        pytest.skip("only together with the bad files")
    unmet = []
    for module in RAISING:
        source = inspect.getsourcefile(module)
        assert source
        for node in ast.walk(ast.parse(Path(source).read_text(encoding="utf-8"))):
            if isinstance(node, ast.Raise) and "ValueError(text)" not in ast.unparse(node):
                lines = range(node.lineno, (node.end_lineno or node.lineno) + 1)
                if not any((source, line) in REFUSED_AT for line in lines):
                    unmet.append(f"{Path(source).name}:{node.lineno}: {ast.unparse(node)}")
    assert unmet == []


def test_the_knowledge_holds_no_conflict(judge: Judge) -> None:
    assert [str(conflict) for conflict in find_conflicts(judge)] == []


def test_facts_for_which_two_rules_apply_are_found_exactly_where_there_are_some(
    graph: KnowledgeGraph, judge: Judge
) -> None:
    """Where facts are found both rules apply for them; where none are, no opening drawn makes both apply."""
    rules = [rule for _, rule in sorted(graph.rules.items()) if rule.effect != "lifts"]
    draw, search, completions = random.Random(11), _Search(judge), Completions(graph, seed=12)
    wild = Openings(graph, seed=13)
    openings = [wild.wild() for _ in range(300)]
    applying = [{rule.name for rule in rules if PlainJudge(graph, opening).applies(rule)} for opening in openings]
    together = 0
    for _ in range(3000):
        one, other = draw.sample(rules, 2)
        facts = search.facts_for(one, other)
        if facts is None:
            assert not any({one.name, other.name} <= names for names in applying), f"{one.name} and {other.name}"
            continue
        together += 1
        state = list(judge.full)
        for fact, possible in facts.items():
            state[graph.fact_index[fact]] = graph.cells[fact].mask(possible)
        plain = PlainJudge(graph, completions.within(state))
        assert plain.applies(one), f"{one.name}: {facts}"
        assert plain.applies(other), f"{other.name}: {facts}"
    assert 0 < together < 3000


WRONG = ("", "[]", "{}", "[[a]]", "{a: {b: c}}", "x", "-1", "[{}]", "~")


def test_no_value_turned_into_another_kind_breaks_the_loader(folder: Path, tmp_path: Path) -> None:
    """Whatever stands in a file, loading answers with a KnowledgeError or takes it; it never falls over."""
    draw = random.Random(14)
    rules = sorted(folder.glob("rules/*/*.yaml"))
    few = tmp_path / "knowledge_graph"
    shutil.copytree(folder, few, ignore=shutil.ignore_patterns("rules", "care", "lookups"))
    for path in draw.sample([path for path in rules if "\nlifts:" not in path.read_text(encoding="utf-8")], 20):
        copied = few / path.relative_to(folder)
        copied.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(path, copied)
    for path in sorted(few.rglob("*.yaml")):
        text = path.read_text(encoding="utf-8")
        data = yaml.load(text, yaml.BaseLoader)
        keys = sorted(_paths(data))
        for key in draw.sample(keys, min(10 if path.parent == few else 4, len(keys))):
            broken = yaml.load(text, yaml.BaseLoader)
            holder = broken
            for step in key[:-1]:
                holder = holder[step]
            holder[key[-1]] = yaml.load(draw.choice(WRONG), yaml.BaseLoader)
            path.write_text(yaml.safe_dump(broken), encoding="utf-8")
            try:
                ready(few)
            except KnowledgeError:
                pass
            finally:
                path.write_text(text, encoding="utf-8")


def _paths(data: object, above: tuple[object, ...] = ()) -> Iterator[tuple[object, ...]]:
    entries = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for key, value in entries:
        yield (*above, key)
        yield from _paths(value, (*above, key))
