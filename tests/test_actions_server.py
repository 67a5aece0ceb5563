"""The same actions, over rasa-sdk's own HTTP action server and in this process."""

from __future__ import annotations

import asyncio
import json
import socket
import subprocess
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from rasa_sdk.executor import ActionExecutor
from talking import COMMAND, ROOT, Talk, conversation, environment

from advisor.conversation.counter import DOMAIN

talk = pytest.fixture(conversation)

TABLE = Path("/proc/net/tcp")
LINES = ("a pair of hollow metal doors", "90 minutes", "20 minutes", "the first", "why?", "stairwell", "start over")


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def answer(port: int, path: str, body: bytes | None = None) -> tuple[int, Any]:
    """Status and body of a request; a body makes it a POST."""
    headers = {"Content-Type": "application/json"}
    request = urllib.request.Request(f"http://127.0.0.1:{port}{path}", body, headers)
    try:
        with urllib.request.urlopen(request, timeout=20) as reply:
            return reply.status, json.load(reply)
    except urllib.error.HTTPError as refusal:
        with refusal:
            return refusal.code, refusal.read()


@pytest.fixture(scope="module")
def port(tmp_path_factory: pytest.TempPathFactory) -> Iterator[int]:
    chosen = free_port()
    state = tmp_path_factory.mktemp("state")
    process = subprocess.Popen(
        [*COMMAND, "serve-actions", "--port", str(chosen)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        env=environment(state),
        cwd=ROOT,
    )
    for _ in range(300):
        assert process.poll() is None, "the server ended by itself"
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", chosen)) == 0:
                break
        time.sleep(0.1)
    yield chosen
    process.terminate()
    process.wait(20)


def call(action: str, text: str, slots: dict[str, Any], metadata: dict[str, Any] | None = None) -> dict[str, Any]:
    tracker = {
        "sender_id": "somebody",
        "slots": slots,
        "latest_message": {"text": text, "metadata": metadata or {}},
        "events": [],
        "paused": False,
        "followup_action": None,
        "active_loop": {},
        "latest_action_name": None,
    }
    return {"next_action": action, "sender_id": "somebody", "tracker": tracker, "domain": DOMAIN, "version": "3.21.0"}


def test_the_server_gives_the_same_turns_as_this_process(port: int, talk: Talk) -> None:
    slots: dict[str, Any] = {}
    for line in LINES:
        status, body = answer(port, "/webhook", json.dumps(call("action_reply", line, slots)).encode())
        assert status == 200
        slots |= {event["name"]: event["value"] for event in body["events"]}
        assert {event["event"] for event in body["events"]} == {"slot"}
        (response,) = body["responses"]
        assert response["custom"]["turn"] == talk.say(line), line
        assert response["custom"]["blocks"] == json.loads(json.dumps(talk.messages[-1]["blocks"]))
        assert response["text"] == talk.turns[-1]["reply"]


def test_one_shot_and_hearing_work_over_the_server(port: int, talk: Talk) -> None:
    words = "pair of hollow metal doors, 90 minutes"
    body = answer(port, "/webhook", json.dumps(call("action_reply", words, {}, {"one_shot": True})).encode())[1]
    assert body["responses"][0]["custom"]["turn"] == talk.counter.say(words, one_shot=True)["turn"]
    body = answer(port, "/webhook", json.dumps(call("action_hear", "90", {"asked": "fire_rating_minutes"})).encode())[1]
    assert body["events"] == []
    assert [each["value"] for each in body["responses"][0]["custom"]["heard"]] == [90]


def test_the_server_tells_its_health_and_its_actions(port: int) -> None:
    assert answer(port, "/health") == (200, {"status": "ok"})
    status, actions = answer(port, "/actions")
    assert (status, sorted(action["name"] for action in actions)) == (200, ["action_hear", "action_reply"])


BAD = {
    "no JSON": b"}{",
    "nothing": b"",
    "a list": b"[1, 2]",
    "no action of ours": json.dumps(call("action_unheard_of", "a pair", {})).encode(),
    "no tracker": b'{"next_action": "action_reply"}',
    "a text of another kind": json.dumps(call("action_reply", 42, {})).encode(),  # type: ignore[arg-type]
    "slots of another kind": json.dumps(call("action_reply", "a pair", {"fact_leaves": 7, "turn": "x"})).encode(),
    "slots that are no mapping": json.dumps(call("action_reply", "a pair", [])).encode(),  # type: ignore[arg-type]
    "bytes": bytes(range(256)),
}


@pytest.mark.parametrize("name", BAD)
def test_a_bad_request_is_refused_and_the_next_one_answered(name: str, port: int) -> None:
    status, _ = answer(port, "/webhook", BAD[name])
    assert 400 <= status < 600
    status, body = answer(port, "/webhook", json.dumps(call("action_reply", "a pair", {})).encode())
    assert (status, body["responses"][0]["custom"]["turn"]["facts"]) == (200, {"leaves": "pair"})


@pytest.mark.skipif(not TABLE.exists(), reason="only Linux lists its sockets there")
def test_the_server_listens_on_this_machine_only(port: int) -> None:
    rows = [line.split() for line in TABLE.read_text(encoding="ascii").splitlines()[1:]]
    listening = {row[1] for row in rows if row[3] == "0A" and row[1].endswith(f":{port:04X}")}
    assert listening == {f"0100007F:{port:04X}"}


def test_rasa_sdk_finds_the_actions_by_their_module(talk: Talk) -> None:
    """As `python -m rasa_sdk --actions advisor.conversation.actions` does it."""
    executor = ActionExecutor()
    executor.register_package("advisor.conversation.actions")
    assert {"action_reply", "action_hear"} <= set(executor.actions)
    words = "a pair of hollow metal doors, 90 minutes"
    result = asyncio.run(executor.run(call("action_reply", words, {})))
    assert result
    assert result.responses[0]["custom"]["turn"] == talk.say(words)
