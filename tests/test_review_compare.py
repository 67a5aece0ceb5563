"""Two answers to one line are told apart by what matters: hardware, question, hearing, grounds, wording."""

from __future__ import annotations

from copy import deepcopy
from typing import Any

import pytest

from advisor.review.compare import compare

LINE = {
    "leaf": "active",
    "item": "closer",
    "quantity": 1,
    "type": "A156.4",
    "size": "",
    "hand": "",
    "finish": "",
    "meets": ["closes"],
    "because": ["fire/closes"],
    "only_if": None,
}
SET = {
    "complete": True,
    "lines": [LINE, {**LINE, "item": "hinge", "quantity": 3}],
    "assumed": ["inside"],
    "cautions": ["check it"],
    "unmet": [],
    "alternatives": [{"arrangement": "lock", "why": "barred", "text": "barred"}],
}
HEARD = {"opening": 1, "fact": "leaves", "value": "single", "text": "single", "start": 0, "end": 6, "how": "stated"}
ANSWER: dict[str, Any] = {
    "turn": 1,
    "kind": "recommendation",
    "reply": "the set",
    "heard": [HEARD],
    "question": {"fact": "traffic", "text": "how busy?", "choices": ["a", "b"], "why": "so"},
    "recommended": SET,
    "answer": None,
    "not_understood": [],
}


def changed(path: str, value: Any) -> dict[str, Any]:
    answer = deepcopy(ANSWER)
    *steps, last = path.split(".")
    at: Any = answer
    for step in steps:
        at = at[int(step)] if step.isdigit() else at[step]
    at[int(last) if last.isdigit() else last] = value
    return answer


@pytest.mark.parametrize(
    ("path", "value", "kinds"),
    [
        ("recommended.lines.0.quantity", 2, ("recommendation",)),
        ("recommended.lines.0.size", "3", ("recommendation",)),
        ("recommended.lines.0.only_if", "fire rated", ("recommendation",)),
        ("recommended.lines", [LINE], ("recommendation", "grounds")),
        ("recommended.unmet", ["a way out"], ("recommendation",)),
        ("recommended.complete", False, ("recommendation",)),
        ("recommended", None, ("recommendation", "grounds")),
        ("question.fact", "leaves", ("question",)),
        ("question.choices", ["a"], ("question",)),
        ("question", None, ("question",)),
        ("kind", "answer", ("question",)),
        ("heard.0.value", "pair", ("hearing",)),
        ("heard.0.how", "unsure", ("hearing",)),
        ("heard", [], ("hearing",)),
        ("not_understood", ["zz"], ("hearing",)),
        ("recommended.lines.0.because", ["fire/other"], ("grounds",)),
        ("recommended.cautions", [], ("grounds",)),
        ("recommended.assumed", ["outside"], ("grounds",)),
        ("recommended.alternatives.0.why", "less_preferred", ("grounds",)),
        ("reply", "the set, reworded", ("wording",)),
    ],
)
def test_a_change_is_told_for_what_it_is(path: str, value: Any, kinds: tuple[str, ...]) -> None:
    now = changed(path, value)
    if path != "reply":
        now["reply"] = "otherwise"
    difference = compare(1, "single", ANSWER, now)
    assert difference is not None
    assert difference.kinds == kinds


def test_the_same_answer_differs_in_nothing() -> None:
    assert compare(1, "single", ANSWER, deepcopy(ANSWER)) is None


def test_lines_in_another_order_and_words_heard_elsewhere_are_no_change() -> None:
    now = changed("recommended.lines", SET["lines"][::-1])
    now["heard"][0]["start"] = 3
    assert compare(1, "single", ANSWER, now) is None


def test_a_set_is_compared_line_by_line() -> None:
    lines = [{**LINE, "size": "4"}, {**LINE, "item": "kick_plate"}]
    difference = compare(1, "single", ANSWER, changed("recommended.lines", lines))
    assert difference is not None
    shown = [(one.before and one.before["item"], one.now and one.now["item"], one.fields) for one in difference.lines]
    assert shown == [("closer", "closer", ("size",)), ("hinge", None, ()), (None, "kick_plate", ())]
