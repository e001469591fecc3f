"""Workers: the same pure work over the cores of this machine or over a cluster, answers in order."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from typing import Any

from study.errors import NotPossible

CONNECT_SECONDS = 10


@dataclass(frozen=True)
class Workers:
    """Where work is done; what comes out never depends on it."""

    jobs: int = 1
    """Processes on this machine."""
    scheduler: str = ""
    """Address of a Dask scheduler, such as tcp://10.0.0.5:8786; it is used instead of this machine."""


def spread(work: Callable[..., Any], tasks: Sequence[tuple[Any, ...]], *, workers: Workers) -> Iterator[Any]:
    """``work(*task)`` for each task, in order of the tasks.

    Parameters
    ----------
    work : function
        Pure and found by its module's name, so that another process can call it.
    tasks : sequence of tuples
        Its arguments.
    workers : Workers

    Raises
    ------
    NotPossible
        If the scheduler does not answer, or Dask is not installed.
    """
    if not workers.scheduler and (workers.jobs <= 1 or len(tasks) <= 1):
        yield from (work(*task) for task in tasks)
        return
    from joblib import Parallel, delayed, parallel_config

    with ExitStack() as stack:
        # A worker that has grown is replaced by joblib, which says so; nothing is lost by it.
        stack.enter_context(warnings.catch_warnings())
        warnings.filterwarnings("ignore", message="A worker stopped", category=UserWarning)
        if workers.scheduler:
            stack.enter_context(_client(workers.scheduler))
            stack.enter_context(parallel_config(backend="dask"))
            jobs = -1
        else:
            jobs = workers.jobs
        yield from Parallel(n_jobs=jobs, return_as="generator")(delayed(work)(*task) for task in tasks)


def _client(address: str) -> Any:
    try:
        from distributed import Client
    except ImportError:
        raise NotPossible(
            "A cluster needs Dask, which is not installed here.", 'Install it with: pip install "dwellbook[cluster]"'
        ) from None
    try:
        return Client(address, timeout=CONNECT_SECONDS, set_as_default=True)
    except (OSError, TimeoutError, ValueError) as fault:
        raise NotPossible(
            f"No Dask scheduler answers at {address} ({fault}).",
            "Start one with: dask scheduler; then workers with Dwellbook installed.",
        ) from None
