"""A bar on stderr while a long log is read: how far, how fast, how long still."""

import contextlib
import sys
from collections.abc import Iterator

from onboard.telemetry.logs.log_files import Progress

LONG_BYTES = 30_000_000
"""Shorter logs are read before a bar could be seen."""


@contextlib.contextmanager
def progress_bar(total_bytes: int, what: str) -> Iterator[Progress | None]:
    """Show a bar for as long as the context lasts; it leaves no trace.

    Gives what must be called with the bytes done so far; None where no bar is shown, because stderr
    is no terminal or there is too little to read.

    Parameters
    ----------
    total_bytes
        How much there is to read.
    what
        What is being done, for people to read.
    """
    if total_bytes < LONG_BYTES or not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        DownloadColumn,
        TextColumn,
        TimeRemainingColumn,
        TransferSpeedColumn,
    )
    from rich.progress import (
        Progress as Bar,
    )

    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        DownloadColumn(),
        TransferSpeedColumn(),
        TimeRemainingColumn(compact=True),
    )
    with Bar(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(what, total=total_bytes)
        yield lambda done: bar.update(task, completed=done)
