"""Work on all cores, its results in the order of the work.

However much there is to do, only a few pieces are on their way at a time.  When a process
dies (its memory was not enough, or a library failed), what it had is done again, one item
after the other, and only the item that a process dies of is lost.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import resource_tracker
from typing import Any, Generic, TypeVar

from msgspec import Struct

Item = TypeVar("Item")
Result = TypeVar("Result")

AHEAD = 2  # pieces for each process that are handed out before the first of them is needed


class Job(Struct, Generic[Item, Result], frozen=True):
    """What is to be done; all functions are found by name in the other processes."""

    work: Callable[[Sequence[Item]], list[Result]]  # as many results as items, in their order
    lost: Callable[[Item], Result]  # what to say of an item of which a process died
    prepare: Callable[[], object]  # once in every process, before its first work
    modules: Sequence[str] = ()  # imported once for all processes


def cores() -> int:
    """Processors that this process may use (sched_getaffinity(2))."""
    return len(os.sched_getaffinity(0))


def in_order(job: Job[Item, Result], pieces: Iterable[Sequence[Item]], processes: int) -> Iterator[list[Result]]:
    """The results of every piece.  With one process, or where no other can be started, all is done in this one."""
    pool = _started(job, processes) if processes > 1 else None
    if pool is None:
        job.prepare()
        yield from map(job.work, pieces)
        return
    try:
        yield from _handed_out(job, pieces, pool)
    except BaseException:  # also when the caller wants no more, and Ctrl-C: nobody waits for what is on its way
        pool.stop()
        raise
    pool.end()


def _handed_out(
    job: Job[Item, Result], pieces: Iterable[Sequence[Item]], pool: _Pool[Item, Result]
) -> Iterator[list[Result]]:
    waiting: deque[tuple[Sequence[Item], Future[list[Result]] | None]] = deque()
    for piece in pieces:
        waiting.append((piece, pool.submit(piece)))
        if len(waiting) > AHEAD * pool.processes:
            yield _next(job, waiting, pool)
    while waiting:
        yield _next(job, waiting, pool)


def _next(
    job: Job[Item, Result],
    waiting: deque[tuple[Sequence[Item], Future[list[Result]] | None]],
    pool: _Pool[Item, Result],
) -> list[Result]:
    piece, future = waiting.popleft()
    with contextlib.suppress(BrokenProcessPool):
        if future is not None:
            return future.result()
    pool.renew()
    results = [_alone(job, item, pool) for item in piece]
    again = [(piece, pool.submit(piece)) for piece, _ in waiting]  # these were lost with the process
    waiting.clear()
    waiting.extend(again)
    return results


def _alone(job: Job[Item, Result], item: Item, pool: _Pool[Item, Result]) -> Result:
    with contextlib.suppress(BrokenProcessPool):
        future = pool.submit([item])
        if future is not None:
            return future.result()[0]
    pool.renew()
    return job.lost(item)


def _started(job: Job[Item, Result], processes: int) -> _Pool[Item, Result] | None:
    try:
        return _Pool(job, processes)
    except (OSError, ImportError, NotImplementedError):  # no shared memory or sockets here (small containers)
        return None


class _Pool(Generic[Item, Result]):
    """Processes that are replaced when one of them dies."""

    def __init__(self, job: Job[Item, Result], processes: int) -> None:
        # A fork of this process could copy a lock that some library's thread holds; forks of the server cannot.
        self.context = multiprocessing.get_context("forkserver")
        self.context.set_forkserver_preload(list(job.modules))
        self.job, self.processes = job, processes
        self.others = set(multiprocessing.active_children())
        resource_tracker.ensure_running()  # before signals are held back: starting it lets them through
        self.renew()

    def renew(self) -> None:
        """New processes; the old ones have died or are not needed."""
        self.executor = ProcessPoolExecutor(self.processes, self.context, _prepared, (self.job.prepare,))

    def submit(self, piece: Sequence[Item]) -> Future[list[Result]] | None:
        """Hand out a piece; none when a process is dead already."""
        # Processes start here and inherit what is held back: Ctrl-C reaches only the one that can end the others.
        before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
        try:
            return self.executor.submit(self.job.work, piece)
        except BrokenProcessPool:
            return None
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, before)

    def end(self) -> None:
        """Let the processes go; all is done."""
        self.executor.shutdown()

    def stop(self) -> None:
        """End the processes now, whatever they do."""
        for process in set(multiprocessing.active_children()) - self.others:
            process.kill()
        self.executor.shutdown(cancel_futures=True)


def _prepared(prepare: Callable[[], Any]) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    prepare()


def _end_with_parent() -> None:
    """Leave when the process that wants the results is gone, also when it was killed."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
