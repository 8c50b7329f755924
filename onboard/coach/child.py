"""The reckoning in a child process, asked over pipes and never waited for.

A child that dies is restarted once; after that the coach goes on without a standing.
"""

import contextlib
import json
import logging
import os
import subprocess
import sys
from pathlib import Path

from onboard.coach.coaching import Reckoned
from onboard.coach.reckoner import question
from onboard.contract.codec import ContractError, read
from onboard.dataclass import dataclass

STARTS_MOST = 2
PIECE_BYTES = 1 << 16
ENDS_WITHIN_S = 0.1
"""Longest wait for a killed child [s]: it ends at once, unless it waits for the card."""

_DYING: list[subprocess.Popen[bytes]] = []
"""Killed children that have not ended yet."""

ANSWER_MOST_BYTES = 1 << 20
"""No answer is as long as this: 12 set-ups and some hundreds of runs take a tenth."""

SOURCE = str(Path(__file__).resolve().parents[2])

log = logging.getLogger("wattwake")


class ReckonerError(Exception):
    """The child died, or its answer makes no sense."""


@dataclass(frozen=True)
class Answer:
    """What the child found.

    Parameters
    ----------
    zero_stamp_s
        The record's stamp at stream time zero [s]; None if nothing was received.
    reckoned
        Its runs and standing, in the record's stream time.
    """

    zero_stamp_s: float | None
    reckoned: Reckoned


class ReckonerProcess:
    """A child process that reckons one trial.

    Parameters
    ----------
    first_line
        What it is to reckon; see `reckoner.question`.
    """

    def __init__(self, first_line: bytes) -> None:
        path = os.environ.get("PYTHONPATH", "")
        self._process = subprocess.Popen(
            [sys.executable, "-m", "onboard.coach.reckoner"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=os.environ | {"PYTHONPATH": os.pathsep.join(filter(None, (SOURCE, path)))},
            # A signal to the daemon's terminal is not for the child: it ends with its input.
            start_new_session=True,
        )
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._asks, self._answers = self._process.stdin, self._process.stdout
        for pipe in (self._asks, self._answers):
            os.set_blocking(pipe.fileno(), False)
        self._received = b""
        self.busy = False
        """Whether an answer is due."""
        self._write(first_line)

    @property
    def pid(self) -> int:
        """Its process id."""
        return self._process.pid

    def ask(self) -> None:
        """Ask for a reckoning.

        Raises
        ------
        ReckonerError
            If the child is gone.
        """
        self._write(b"{}\n")
        self.busy = True

    def _write(self, line: bytes) -> None:
        try:
            os.write(self._asks.fileno(), line)
        except OSError as problem:
            raise ReckonerError(f"it takes no questions ({problem.strerror})") from None

    def poll(self) -> Answer | None:
        """Return the answer if there is one.

        Raises
        ------
        ReckonerError
            If the child died, or its answer is not one.
        """
        try:
            while piece := os.read(self._answers.fileno(), PIECE_BYTES):
                self._received += piece
            raise ReckonerError("it ended by itself")
        except BlockingIOError:
            pass
        line, end, rest = self._received.partition(b"\n")
        if not end:
            if len(line) > ANSWER_MOST_BYTES:
                raise ReckonerError("its answer never ends")
            return None
        self._received, self.busy = rest, False
        try:
            raw = json.loads(line)
            if "fault" in raw:
                raise ReckonerError(f"a fault in it\n{raw['fault']}")
            return Answer(raw["zero_stamp_s"], read(Reckoned, raw["reckoned"]))
        except (ValueError, KeyError, TypeError, ContractError) as problem:
            raise ReckonerError(f"its answer is not one: {problem}") from None

    def close(self) -> None:
        """End it, without waiting if a dead card holds it up."""
        self._asks.close()
        self._answers.close()
        self._process.kill()
        _DYING.append(self._process)
        for process in list(_DYING):
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(ENDS_WITHIN_S)
                _DYING.remove(process)


class Reckoner:
    """A child process, restarted once if it dies.

    Parameters
    ----------
    folders
        The folders of the trip's sessions, oldest first.
    system_id
        MAVLink system to follow; None for the profile's, else the one that sends most.
    """

    def __init__(self, folders: list[Path], system_id: int | None) -> None:
        self.folders = folders
        self._first_line = question(folders, system_id)
        self._process: ReckonerProcess | None = None
        self._starts = 0

    @property
    def pid(self) -> int | None:
        """The child's process id; None while there is none."""
        return None if self._process is None else self._process.pid

    @property
    def busy(self) -> bool:
        """Whether an answer is due."""
        return self._process is not None and self._process.busy

    def ask(self) -> None:
        """Ask for a reckoning, unless one is due already.

        Raises
        ------
        ReckonerError
            If no more children may be started.
        """
        if self.busy:
            return
        try:
            self._running().ask()
        except ReckonerError as problem:
            self._bury(problem)

    def poll(self) -> Answer | None:
        """Return the answer if there is one.

        Raises
        ------
        ReckonerError
            If the child died for the second time.
        """
        if self._process is None:
            return None
        try:
            return self._process.poll()
        except ReckonerError as problem:
            was_asked = self._process.busy
            self._bury(problem)
            if was_asked:
                self.ask()
            return None

    def _running(self) -> ReckonerProcess:
        if self._process is None:
            self._starts += 1
            try:
                self._process = ReckonerProcess(self._first_line)
            except OSError as problem:
                raise ReckonerError(f"it cannot be started ({problem.strerror})") from None
        return self._process

    def _bury(self, problem: ReckonerError) -> None:
        """Clear away a child that failed.

        Raises
        ------
        ReckonerError
            If no more children may be started.
        """
        log.error("the coach's reckoning: %s", problem)
        self.close()
        if self._starts >= STARTS_MOST:
            raise problem

    def close(self) -> None:
        """End the child."""
        if self._process is not None:
            process, self._process = self._process, None
            process.close()
