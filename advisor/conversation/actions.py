"""The advisor's rasa-sdk actions. The same ones run in-process and as rasa-sdk's own action server."""

from __future__ import annotations

from dataclasses import asdict
from functools import cache
from typing import Any

from rasa_sdk import Action, Tracker
from rasa_sdk.events import SlotSet
from rasa_sdk.executor import CollectingDispatcher

from advisor.conversation.mind import Mind, build
from advisor.conversation.reply import Replier
from advisor.conversation.session import from_slots, to_slots


@cache
def built_in() -> Mind:
    """The built-in mind, for an action server that makes the actions itself."""
    return build()


class ActionReply(Action):  # type: ignore[misc]  # rasa-sdk is untyped
    """One turn: hears the latest message, works it into the slots, and answers.

    The answer's ``custom`` holds the machine-readable turn under ``turn`` and the reply's parts under ``blocks``.
    The latest message's metadata may say ``one_shot``: then no further message will come.
    """

    def __init__(self, mind: Mind | None = None) -> None:
        self._mind = mind

    def name(self) -> str:
        """The action's name."""
        return "action_reply"

    def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: dict[str, Any]) -> list[dict[str, Any]]:
        """The slots that change, the answer going to the dispatcher."""
        replier = Replier(self._mind or built_in())
        message = tracker.latest_message or {}
        before = from_slots(tracker.slots)
        hearing = replier.hear(before, message.get("text") or "")
        one_shot = bool((message.get("metadata") or {}).get("one_shot"))
        after, turn = replier.reply(before, hearing, one_shot, message.get("text") or "")
        said = turn.as_json()
        blocks = [asdict(block) for block in turn.blocks]
        dispatcher.utter_message(text=said["reply"], json_message={"turn": said, "blocks": blocks})
        slots = to_slots(after)
        forgotten = {name: None for name in tracker.slots if name.startswith("fact_") and name not in slots}
        changed = {name: value for name, value in {**forgotten, **slots}.items() if tracker.slots.get(name) != value}
        return [dict(SlotSet(name, value)) for name, value in sorted(changed.items())]


class ActionHear(Action):  # type: ignore[misc]  # rasa-sdk is untyped
    """Only hears: what the latest message says, with nothing concluded and no slot set."""

    def __init__(self, mind: Mind | None = None) -> None:
        self._mind = mind

    def name(self) -> str:
        """The action's name."""
        return "action_hear"

    def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: dict[str, Any]) -> list[dict[str, Any]]:
        """Nothing changes; what was heard goes to the dispatcher."""
        replier = Replier(self._mind or built_in())
        message = tracker.latest_message or {}
        dispatcher.utter_message(json_message=replier.heard_json(message.get("text") or "", tracker.slots.get("asked")))
        return []
