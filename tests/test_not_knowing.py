"""A set with open answers says who can tell what is open, and what the open answers cost."""

from __future__ import annotations

from advisor.conversation.counter import Counter
from advisor.conversation.mind import build

OPENING = (
    "single mineral core wood door, 3070, 20 minutes, office, offices, new door, indoors, 10 people, no smoke seal"
)
CATEGORY = "wood_door_category"


def said_until_the_set(answers: dict[str, str]) -> str:
    """The reply with the set, every question answered by its fact, else with don't know."""
    mind = build()
    counter = Counter(mind)
    try:
        turn = counter.say(OPENING)["turn"]
        for _ in range(12):
            if turn["kind"] == "recommendation":
                return str(turn["reply"])
            turn = counter.say(answers.get(turn["question"]["fact"], "don't know"))["turn"]
    finally:
        counter.close()
    raise AssertionError(f"no set: {turn}")


def test_what_is_open_is_told_with_who_can_tell_and_what_it_costs() -> None:
    mind = build()
    wording, question = mind.book.wording, mind.book.questions[CATEGORY]
    reply = said_until_the_set({})
    assert f"\n{wording['to_find_out']}\n" in reply
    assert f"  {wording[f'fact_{CATEGORY}']}: {question.who_can_tell}\n" in reply
    extra = reply.split(f"\n{wording['extra_while_open']}\n")[1].split("\n\n")[0]
    assert "1 listed intumescent edge seal" in extra


def test_where_all_is_answered_nothing_is_open_and_nothing_extra() -> None:
    wording = build().book.wording
    reply = said_until_the_set({CATEGORY: "category B", "smoke_rated": "no", "wall_kind": "plain wall"})
    assert "intumescent edge seal" in reply
    assert wording["to_find_out"] not in reply
    assert wording["extra_while_open"] not in reply
