"""A progress bar on stderr while long logs are read."""

import contextlib
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

from onboard.errors import WattwakeError
from onboard.telemetry.logs.log_files import Progress, find_log, log_bytes

LONG_BYTES = 30_000_000
"""Least size for a bar [bytes], `EACH_BYTES` a log included: shorter logs are read before one would
be noticed."""

EACH_BYTES = 1_000_000
"""What a log costs however short it is, in bytes of a long one."""


def size_bytes(path: Path) -> int:
    """Return the size of the log at a path [bytes]; 0 if there is none."""
    try:
        return log_bytes(find_log(path))
    except (WattwakeError, OSError):
        return 0


@contextlib.contextmanager
def progress_bar(paths: Sequence[Path], task: str | None = None) -> Iterator[Progress | None]:
    """Show a bar while logs are read; it is erased at the end.

    Yield a function to call with the bytes read so far; None without a bar, because stderr is not a
    terminal or there is too little to read.

    Parameters
    ----------
    paths
        The logs, or sessions' folders.
    task
        Text beside the bar; None for `reading` with the log's name or the number of logs.
    """
    total_bytes = sum(map(size_bytes, paths))
    if total_bytes + EACH_BYTES * len(paths) < LONG_BYTES or not sys.stderr.isatty():
        yield None
        return
    from rich import progress
    from rich.console import Console

    columns = (
        progress.TextColumn("{task.description}"),
        progress.BarColumn(),
        progress.DownloadColumn(),
        progress.TransferSpeedColumn(),
        progress.TimeRemainingColumn(compact=True),
    )
    if task is None:
        task = f"reading {paths[0].name if len(paths) == 1 else f'{len(paths)} logs'}"
    with progress.Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        number = bar.add_task(task, total=total_bytes)
        yield lambda done: bar.update(number, completed=done)


def shifted(progress: Progress | None, before_bytes: int) -> Progress | None:
    """Return the progress function for a log that is read after others.

    Parameters
    ----------
    progress
        Called with the bytes read so far from all logs; None without a bar.
    before_bytes
        Size of the logs already read [bytes].
    """
    return None if progress is None else lambda done: progress(before_bytes + done)
