"""Fixtures shared by all tests. Nothing leaves the machine: connections other than loopback are refused."""

from __future__ import annotations

import socket
from collections.abc import Iterator

import pytest
from talking import mind as built

from advisor.conversation.counter import Counter
from advisor.conversation.mind import Mind
from advisor.knowledge.graph import KnowledgeGraph
from advisor.knowledge.load import load_knowledge
from advisor.reasoning.choose import Chooser
from advisor.reasoning.infer import Judge
from advisor.yaml_files import data_folder


@pytest.fixture(autouse=True)
def only_loopback(monkeypatch: pytest.MonkeyPatch) -> None:
    connect = socket.socket.connect

    def guarded(self: socket.socket, address: object) -> None:
        host = address[0] if isinstance(address, tuple) else "127.0.0.1"
        assert host in ("127.0.0.1", "::1", "localhost"), f"a test tried to reach {host}"
        connect(self, address)  # type: ignore[arg-type]

    monkeypatch.setattr(socket.socket, "connect", guarded)


@pytest.fixture(scope="session")
def graph() -> KnowledgeGraph:
    return load_knowledge(data_folder("knowledge_graph"))


@pytest.fixture(scope="session")
def judge(graph: KnowledgeGraph) -> Judge:
    return Judge(graph)


@pytest.fixture(scope="session")
def chooser(judge: Judge) -> Chooser:
    return Chooser(judge)


@pytest.fixture(scope="session")
def mind() -> Mind:
    return built()


@pytest.fixture
def counter(mind: Mind) -> Iterator[Counter]:
    counter = Counter(mind)
    yield counter
    counter.close()
