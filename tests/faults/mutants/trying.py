"""Faults injected one at a time into a copy of the tree, and whether the tests catch them."""

import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterable, Iterator
from enum import Enum
from pathlib import Path

from tests.faults.mutants.rows import Mutant

PATIENCE_S = 300.0
NOT_COPIED = shutil.ignore_patterns(".*", "__pycache__", "build", "dist")
ALL_PASSED, FAILED, INTERRUPTED = 0, 1, 2
"""Exit codes of pytest; a fault that prevents a module from loading interrupts it."""


class Result(Enum):
    """Result of a fault."""

    CAUGHT = "caught"
    NOT_CAUGHT = "NOT CAUGHT"
    GONE = "no longer in the file"
    NO_TESTS = "ITS TESTS DO NOT RUN"


def copied(root: Path, to: Path) -> Path:
    """Copy the tree without files of tools."""
    shutil.copytree(root, to, ignore=NOT_COPIED)
    return to


def run_tests(tree: Path, tests: Iterable[str], patience_s: float = PATIENCE_S) -> int | None:
    """Run tests of a tree; return pytest's exit code, None if they took too long."""
    # Compiled code is matched by size and whole second of the source: a fault could be missed.
    environment = {**os.environ, "PYTHONPATH": str(tree), "PYTHONDONTWRITEBYTECODE": "1"}
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", *tests]
    process = subprocess.Popen(
        command,
        cwd=tree,
        env=environment,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    try:
        return process.wait(patience_s)
    except subprocess.TimeoutExpired:
        return None
    finally:
        if process.poll() is None:
            # Its own session, so that what the tests started ends with them.
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()


def try_one(tree: Path, mutant: Mutant, patience_s: float = PATIENCE_S) -> Result:
    """Apply a fault to the tree, run its tests, and revert it."""
    path = tree / mutant.file
    sound = path.read_text() if path.is_file() else ""
    faulty = mutant.put_into(sound)
    if faulty is None:
        return Result.GONE
    path.write_text(faulty)
    try:
        code = run_tests(tree, mutant.tests, patience_s)
    finally:
        path.write_text(sound)
    if code == ALL_PASSED:
        return Result.NOT_CAUGHT
    # A test that never ends counts as catching the fault.
    return Result.CAUGHT if code in (FAILED, INTERRUPTED, None) else Result.NO_TESTS


def try_all(tree: Path, mutants: Iterable[Mutant]) -> Iterator[tuple[Mutant, Result]]:
    """Try one fault after another."""
    for mutant in mutants:
        yield mutant, try_one(tree, mutant)
