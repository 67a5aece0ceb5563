"""A replay spread over this machine's cores, or over a cluster: sessions go out in batches and come back in order."""

from __future__ import annotations

import multiprocessing
from collections import deque
from collections.abc import Iterable, Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from contextlib import contextmanager
from importlib import import_module
from itertools import islice
from typing import Any

from advisor.errors import AdvisorError
from advisor.review.logs import Problem, RawSession
from advisor.review.replay import Batch, Settings, replay_batch

BATCH = 16
# so many batches are out for each worker: enough to keep it busy, few enough to keep memory flat
AHEAD = 3


class Cluster(AdvisorError):
    """A cluster can't be used."""


@contextmanager
def workers(count: int) -> Iterator[Executor | None]:
    """So many worker processes on this machine; None for one, which needs no other process."""
    if count <= 1:
        yield None
        return
    with ProcessPoolExecutor(count, mp_context=multiprocessing.get_context("spawn")) as pool:
        yield pool


@contextmanager
def cluster(address: str) -> Iterator[tuple[Executor, int]]:
    """The workers of a Dask scheduler through its ``concurrent.futures`` interface, and how many there are.

    Raises:
        Cluster: the extra isn't installed, or nothing answers there.
    """
    try:
        distributed: Any = import_module("distributed")
    except ImportError:
        raise Cluster("--scheduler needs the extra: pip install 'door-hardware-advisor[cluster]'.") from None
    try:
        client = distributed.Client(address, timeout="5s", set_as_default=False)
    except (OSError, ValueError) as problem:
        raise Cluster(f"{address}: no scheduler answers there ({problem}).") from None
    with client:
        count = sum(client.nthreads().values())
        if not count:
            raise Cluster(f"{address}: this scheduler has no workers.")
        yield client.get_executor(), count


def spread(
    sessions: Iterable[RawSession | Problem], settings: Settings, executor: Executor | None, count: int
) -> Iterator[Batch]:
    """The batches as they come back, in the order of the sessions.

    Raises:
        AdvisorError: the knowledge or words can't be read.
    """
    out: deque[Future[Batch]] = deque()
    for sessions_out, problems in _batches(sessions):
        if problems:
            yield Batch((), problems, 0, 0.0)
        if executor is None:
            yield _checked(replay_batch(sessions_out, settings))
            continue
        out.append(executor.submit(replay_batch, sessions_out, settings))
        while len(out) >= count * AHEAD:
            yield _checked(out.popleft().result())
    while out:
        yield _checked(out.popleft().result())


def _batches(
    sessions: Iterable[RawSession | Problem],
) -> Iterator[tuple[tuple[RawSession, ...], tuple[Problem, ...]]]:
    stream = iter(sessions)
    while batch := tuple(islice(stream, BATCH)):
        problems = tuple(one for one in batch if isinstance(one, Problem))
        yield tuple(one for one in batch if isinstance(one, RawSession)), problems


def _checked(batch: Batch) -> Batch:
    if batch.refused:
        raise AdvisorError(batch.refused)
    return batch
