"""The counter: a running conversation, every turn of it made by rasa-sdk's executor."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from typing import Any

from rasa_sdk.executor import ActionExecutor

from advisor.conversation.actions import ActionHear, ActionReply
from advisor.conversation.mind import Mind
from advisor.conversation.privacy import Masker

# rasa-sdk wants a domain with each call; ours declares nothing beyond the actions' names
DOMAIN = {"actions": ["action_reply", "action_hear"]}


def executor_of(mind: Mind) -> ActionExecutor:
    """A rasa-sdk executor with the advisor's actions."""
    executor = ActionExecutor()
    for action in (ActionReply(mind), ActionHear(mind)):
        executor.register_action(action)
    return executor


class Counter:
    """One conversation.

    Args:
        mind: what it knows.
        on_events: called with a turn's events as it ends: the user's message, the action, the slots, the answer.
        masker: masks what a line says of people before it is heard; None hears and keeps every line as typed.
        slots: those of a conversation to go on with.
    """

    def __init__(
        self,
        mind: Mind,
        on_events: Callable[[list[dict[str, Any]]], None] | None = None,
        masker: Masker | None = None,
        slots: Mapping[str, Any] | None = None,
    ) -> None:
        self._executor = executor_of(mind)
        self._on_events = on_events
        self._masker = masker
        self._slots: dict[str, Any] = dict(slots or {})
        self._loop = asyncio.new_event_loop()

    def say(self, text: str, one_shot: bool = False) -> dict[str, Any]:
        """The advisor's answer: ``turn`` (machine-readable) and ``blocks`` (the reply in parts)."""
        masked = self._masker.mask(text) if self._masker else None
        text = masked.text if masked else text
        answer = self._run("action_reply", text, one_shot)
        message: dict[str, Any] = answer["responses"][0]["custom"]
        for event in answer["events"]:
            self._slots[event["name"]] = event["value"]
        if self._on_events:
            self._on_events(self._events(text, message["turn"], answer["events"], one_shot))
        if masked and masked.masks:
            heard = [masked.heard_as_typed(each) for each in message["turn"]["heard"]]
            message = {**message, "turn": {**message["turn"], "heard": heard}}
        return message

    @property
    def slots(self) -> dict[str, Any]:
        """Everything the conversation holds, as plain JSON: enough to go on from."""
        return dict(self._slots)

    def hear(self, text: str, asked: str | None = None) -> dict[str, Any]:
        """What a message says, by itself."""
        self._slots["asked"] = asked
        heard: dict[str, Any] = self._run("action_hear", text, False)["responses"][0]["custom"]
        return heard

    def close(self) -> None:
        """End the conversation."""
        self._loop.close()

    def _run(self, action: str, text: str, one_shot: bool) -> dict[str, Any]:
        tracker = {
            "sender_id": "counter",
            "slots": dict(self._slots),
            "latest_message": {"text": text, "metadata": {"one_shot": one_shot}},
            "events": [],
            "paused": False,
            "followup_action": None,
            "active_loop": {},
            "latest_action_name": None,
        }
        result = self._loop.run_until_complete(
            self._executor.run({"next_action": action, "tracker": tracker, "domain": DOMAIN})
        )
        assert result is not None
        return {"events": result.events, "responses": result.responses}

    def _events(
        self, text: str, turn: dict[str, Any], slots: list[dict[str, Any]], one_shot: bool
    ) -> list[dict[str, Any]]:
        kept = {key: turn[key] for key in ("turn", "kind", "question", "recommended", "answer", "not_understood")}
        return [
            {
                "event": "user",
                "text": text,
                "metadata": {"heard": turn["heard"]} | ({"one_shot": True} if one_shot else {}),
            },
            {"event": "action", "name": "action_reply"},
            *slots,
            {"event": "bot", "text": turn["reply"], "metadata": kept},
        ]
