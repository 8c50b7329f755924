"""Review several logs on all cores.

Each worker process reads one log at a time and reports its progress through shared memory. SIGINT
is blocked in the workers and recorded in the parent, which terminates them and then raises
KeyboardInterrupt: an interrupt at any moment leaves no worker behind and no traceback.
"""

import contextlib
import functools
import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from dataclasses import field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from groundside.interrupts import interrupts_held
from groundside.reports.log_progress import EACH_BYTES, shifted, size_bytes
from groundside.reports.review.summary import SeriesRecorder, review
from groundside.studies.review_result import Review
from groundside.studies.ride_series import Series
from onboard.dataclass import dataclass
from onboard.errors import WattwakeError
from onboard.profile import Profile
from onboard.telemetry.logs.log_files import Progress

if TYPE_CHECKING:
    from concurrent.futures import Future

WORTH_BYTES = 8_000_000
"""Least total size for worker processes [bytes], `EACH_BYTES` a log included: less is read faster
than they start."""

PROGRESS_EVERY_S = 0.2


@dataclass(frozen=True)
class ReviewOutcome:
    """One log's review, or why there is none.

    Parameters
    ----------
    path
        The log, as given.
    result
        The review; None if the log cannot be read.
    problem
        Why not, in one sentence; None if it can.
    speed_unit
        Unit of speed in the log's profile.
    series
        Data for plots; None if not requested.
    """

    path: Path
    result: Review | None
    problem: str | None = None
    speed_unit: str = ""
    series: Series | None = field(default=None, compare=False)


def review_logs(
    paths: Sequence[Path],
    profile_of: Callable[[Path], Profile],
    system_id: int | None = None,
    progress: Progress | None = None,
    *,
    draws: bool = False,
) -> list[ReviewOutcome]:
    """Review several logs; return an outcome for each, in the order given.

    Parameters
    ----------
    paths
        The logs, or sessions' folders.
    profile_of
        Returns a log's profile; an error it raises becomes that log's problem.
    system_id
        MAVLink system to follow; None for the one in each profile.
    progress
        Called with the bytes read so far from all logs.
    draws
        Whether to return the data for plots.
    """
    one = functools.partial(_review_one, profile_of=profile_of, system_id=system_id, draws=draws)
    sizes = [size_bytes(path) for path in paths]
    worth = sum(sizes) + EACH_BYTES * len(paths) >= WORTH_BYTES
    if len(paths) == 1 or not worth or (os.cpu_count() or 1) == 1:
        return [
            one(path, progress=shifted(progress, sum(sizes[:n]))) for n, path in enumerate(paths)
        ]
    import multiprocessing
    from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait

    context = multiprocessing.get_context("spawn")  # threads would not survive a fork
    done = context.RawArray("q", len(paths))
    with (
        _interrupts_noted() as interrupts,
        ProcessPoolExecutor(
            min(os.cpu_count() or 1, len(paths)),
            mp_context=context,
            initializer=_start_worker,
            initargs=(done,),
        ) as workers,
    ):
        # Longest first, so that the last log does not occupy one core alone.
        order = sorted(range(len(paths)), key=lambda n: -sizes[n])
        others = set(context.active_children())
        with interrupts_held():  # inherited by the workers from their first instruction
            tasks = {n: workers.submit(_work_on, n, sizes[n], paths[n], one) for n in order}
        waiting: set[Future[ReviewOutcome]] = set(tasks.values())
        while waiting and not interrupts:
            _, waiting = wait(waiting, timeout=PROGRESS_EVERY_S, return_when=FIRST_COMPLETED)
            if progress is not None:
                progress(sum(done))
        if interrupts:
            # The user wants everything to stop, and the workers have nothing to report.
            for worker in set(context.active_children()) - others:
                worker.terminate()
    return [_outcome_of(tasks[n], path) for n, path in enumerate(paths)]


def _outcome_of(task: "Future[ReviewOutcome]", path: Path) -> ReviewOutcome:
    """Return a finished log's outcome; a problem if the pool broke before it was finished."""
    from concurrent.futures.process import BrokenProcessPool

    try:
        return task.result()
    except BrokenProcessPool:  # by a system short of memory, for instance
        return ReviewOutcome(path, None, f"{path}: not reviewed: a worker process was killed")


@contextlib.contextmanager
def _interrupts_noted() -> Iterator[list[int]]:
    """Append each SIGINT to a list; raise KeyboardInterrupt at the end if there was one.

    Otherwise a second one, while workers are being terminated, would leave some of them running.
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


_done: Any = None
"""In a worker: bytes read so far of each log, in memory shared with the parent."""


def _start_worker(done: Any) -> None:
    global _done  # noqa: PLW0603
    _done = done


def _work_on(
    number: int, size: int, path: Path, review_one: Callable[..., ReviewOutcome]
) -> ReviewOutcome:
    try:
        return review_one(path, progress=functools.partial(_done.__setitem__, number))
    finally:
        _done[number] = size  # of one that cannot be read, too


def _review_one(
    path: Path,
    *,
    profile_of: Callable[[Path], Profile],
    system_id: int | None,
    draws: bool,
    progress: Progress | None = None,
) -> ReviewOutcome:
    recorder = SeriesRecorder() if draws else None
    try:
        profile = profile_of(path)
        result = review(path, profile, system_id, progress, recorder)
        series = recorder.series if recorder is not None else None
        return ReviewOutcome(path, result, None, profile.units.speed, series)
    except WattwakeError as problem:
        return ReviewOutcome(path, None, str(problem))
