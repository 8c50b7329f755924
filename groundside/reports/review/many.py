"""The reviews of several logs, on all cores."""

import contextlib
import functools
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from groundside.reports.review.summary import Drawn, review
from groundside.studies.review_result import Review
from groundside.studies.ride_series import Series
from onboard.errors import WattwakeError
from onboard.profile import Profile
from onboard.telemetry.logs.log_files import Progress, find_log, log_bytes

WORTH_BYTES = 8_000_000
"""With less to read than this, starting processes takes longer than reading."""

TOLD_EVERY_S = 0.2


@dataclass(frozen=True)
class Reviewed:
    """One log's review, or why there is none.

    Parameters
    ----------
    path
        The log, as given.
    result
        What the log comes to; None where there is a problem.
    problem
        A sentence for people to read, None without.
    speed_unit
        What the log's profile wants speeds told in.
    series
        What is drawn of it; None where nothing is to be drawn.
    """

    path: Path
    result: Review | None
    problem: str | None = None
    speed_unit: str = ""
    series: Series | None = field(default=None, compare=False)


def size_bytes(path: Path) -> int:
    """Return the size of the log that a path means; 0 where there is none."""
    try:
        return log_bytes(find_log(path))
    except (WattwakeError, OSError):
        return 0


def review_many(
    paths: Sequence[Path],
    profile_of: Callable[[Path], Profile],
    system_id: int | None = None,
    progress: Progress | None = None,
    *,
    draws: bool = False,
) -> list[Reviewed]:
    """Review several logs, those that cannot be read among them; in the order given.

    Parameters
    ----------
    paths
        The logs, or sessions' folders.
    profile_of
        Gives a log's craft; what is wrong with it is that log's problem.
    system_id
        The MAVLink system to follow, None for each profile's.
    progress
        Called with the bytes read so far of all logs.
    draws
        Whether to keep what pictures are drawn from.
    """
    one = functools.partial(_review_one, profile_of=profile_of, system_id=system_id, draws=draws)
    sizes = [size_bytes(path) for path in paths]
    if len(paths) == 1 or sum(sizes) < WORTH_BYTES or (os.cpu_count() or 1) == 1:
        return list(_one_by_one(paths, sizes, one, progress))
    context = multiprocessing.get_context("spawn")  # threads would not survive a fork
    done = context.RawArray("q", len(paths))
    with (
        _interrupts_noted() as interrupts,
        ProcessPoolExecutor(
            min(os.cpu_count() or 1, len(paths)),
            mp_context=context,
            initializer=_begin_work,
            initargs=(done,),
        ) as workers,
    ):
        # The longest first, so that no core is left with it at the end.
        order = sorted(range(len(paths)), key=lambda n: -sizes[n])
        others = set(context.active_children())
        with _deaf_to_interrupts():  # the workers stay so from their first instruction on
            tasks = {n: workers.submit(_work_on, n, paths[n], one) for n in order}
        waiting: set[Future[Reviewed]] = set(tasks.values())
        while waiting and not interrupts:
            _, waiting = wait(waiting, timeout=TOLD_EVERY_S, return_when=FIRST_COMPLETED)
            if progress is not None:
                progress(sum(done))
        if interrupts:
            # Whoever interrupts means the whole, and no worker has anything to say then.
            for worker in set(context.active_children()) - others:
                worker.terminate()
    return [tasks[n].result() for n in range(len(paths))]


@contextlib.contextmanager
def _interrupts_noted() -> Iterator[list[int]]:
    """Have SIGINT noted in a list, and raised as KeyboardInterrupt afterwards.

    A second one while the workers are being ended would leave some of them at work.
    """
    noted: list[int] = []
    usual = signal.getsignal(signal.SIGINT) is signal.default_int_handler
    if not usual or threading.current_thread() is not threading.main_thread():
        yield noted
        return
    signal.signal(signal.SIGINT, lambda number, _frame: noted.append(number))
    try:
        yield noted
    finally:
        signal.signal(signal.SIGINT, signal.default_int_handler)
        if noted:
            raise KeyboardInterrupt


@contextlib.contextmanager
def _deaf_to_interrupts() -> Iterator[None]:
    """Hold SIGINT back from this thread and from what it starts meanwhile."""
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


_done: Any = None
"""In a worker: the bytes read so far of each log, shared with the process that shows them."""


def _begin_work(done: Any) -> None:
    global _done  # noqa: PLW0603
    _done = done


def _work_on(number: int, path: Path, review_one: Callable[..., Reviewed]) -> Reviewed:
    def told(done: int) -> None:
        _done[number] = done

    return review_one(path, progress=told)


def _one_by_one(
    paths: Sequence[Path],
    sizes: Sequence[int],
    review_one: Callable[..., Reviewed],
    progress: Progress | None,
) -> Iterator[Reviewed]:
    before = 0

    def told(done: int) -> None:
        if progress is not None:
            progress(before + done)

    for path, size in zip(paths, sizes, strict=True):
        yield review_one(path, progress=told)
        before += size


def _review_one(
    path: Path,
    *,
    profile_of: Callable[[Path], Profile],
    system_id: int | None,
    draws: bool,
    progress: Progress | None = None,
) -> Reviewed:
    drawn = Drawn() if draws else None
    try:
        profile = profile_of(path)
        result = review(path, profile, system_id, progress, drawn)
        series = drawn.series if drawn is not None else None
        return Reviewed(path, result, None, profile.units.speed, series)
    except WattwakeError as problem:
        return Reviewed(path, None, str(problem))
