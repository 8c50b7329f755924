"""The running soak: the stream, the present daemon, and the checks after each end."""

import random
import signal
import threading
import time
from contextlib import ExitStack
from pathlib import Path

from tests.faults.soak_card import Card
from tests.faults.soak_daemon import Clock, Options, Run
from tests.faults.soak_judge import Judge
from tests.faults.soak_junk import Flood
from tests.faults.soak_outlets import Serial, Udp
from tests.faults.soak_score import Score
from tests.faults.soak_stream import NOBODY, Stream

PROFILE = """[craft]
name = "soak"

[battery]
chemistry = "li-ion"
cells = 14
capacity_ah = 20.0
reserve_fraction = {reserve}
"""
SERIAL_SHARE = 0.3
STARTS_MOST = 3
"""Failed starts in a row after which the soak gives up."""


class GivenUpError(Exception):
    """The daemon no longer starts."""


class Soak:
    """Everything that the faults act on.

    Parameters
    ----------
    seed
        Seed of the faults and of the ride.
    folder
        Folder for everything written.
    serial
        Whether some runs listen to a serial port.
    """

    def __init__(self, seed: int, folder: Path, serial: bool = True) -> None:
        self.chance = random.Random(seed)
        self.folder, self.serial_allowed = folder, serial
        self.began_s = time.monotonic()
        self.score = Score()
        self.card = Card(folder / "card")
        self.record = self.card.place / "sessions"
        logs = folder / "said"
        logs.mkdir()
        self.clock = Clock(folder / "clock")
        self.options = Options(self.record, folder / "craft.toml", logs, self.clock)
        self.write_profile()
        self.udp, self.serial = Udp(), Serial(folder / "port")
        self.stream = Stream(seed, self.udp)
        self.runs: dict[int, Run] = {}
        self.floods: list[Flood] = []
        self.judge = Judge(self)
        self.hostile = ExitStack()
        """Connections of bad viewers."""
        self.stopping = threading.Event()
        self._lasting: list[tuple[str, threading.Thread]] = []
        self.run: Run | None = None

    def log(self, text: str) -> None:
        """Print a line with the time and the number of the daemon's run."""
        number = self.run.number if self.run else 0
        print(f"{time.monotonic() - self.began_s:8.1f} s  run {number:4d}  {text}", flush=True)

    def write_profile(self, text: str | None = None) -> None:
        """Write the craft's profile; a sound one by default."""
        sound = PROFILE.format(reserve=0.2)
        self.options.profile.write_text(sound if text is None else text)

    # -- the daemon ------------------------------------------------------------------------------

    def begin(self) -> None:
        """Start the stream and the first daemon."""
        self.stream.start()
        self.start()

    def start(self, wait: bool = True) -> None:
        """Start a daemon on either kind of link."""
        on_serial = self.serial_allowed and self.chance.random() < SERIAL_SHARE
        for _ in range(STARTS_MOST):
            outlet = self.serial if on_serial else self.udp
            self.stream.outlet = outlet
            number = len(self.runs) + 1
            run = self.run = Run(number, self.options, outlet.link, outlet.name)
            self.runs[number] = run
            self.stream.run_number, self.stream.pid = number, run.process.pid
            if not wait:
                return
            if run.wait_up():
                assert run.up_s is not None
                self.score.starts_s.append(run.up_s - run.began_s)
                self.judge.began(run)
                return
            self.end(signal.SIGKILL)
            self.score.fail("does not start", f"run {number}: {run.stderr().strip()[-300:]}")
        raise GivenUpError

    def end(self, how: signal.Signals, at_rest: bool = False) -> None:
        """End the present daemon and check the result; at rest its trip must be known."""
        run = self.run
        assert run is not None
        run.end(how)
        self.hostile.close()
        self.stream.run_number, self.stream.pid = NOBODY, None
        self.judge.ended(run, at_rest)

    def restart(self, how: signal.Signals, away_s: float) -> None:
        self.end(how)
        self.wait(away_s)
        self.start()

    def watch(self) -> None:
        """Start another daemon if the present one ended by itself."""
        if self.stream.fault is not None:
            raise self.stream.fault
        assert self.run is not None
        if not self.run.running():
            self.log("the daemon ended by itself")
            self.end(signal.SIGKILL)
            self.start()

    # -- time ------------------------------------------------------------------------------------

    def wait(self, seconds: float) -> None:
        self.stopping.wait(seconds)

    def meanwhile(self, name: str, work) -> None:
        """Do something in a thread while other faults occur."""
        thread = threading.Thread(target=self._guarded, args=(name, work), daemon=True)
        self._lasting.append((name, thread))
        thread.start()

    def _guarded(self, name: str, work) -> None:
        try:
            work()
        except Exception as fault:
            self.score.fail("the soak itself", f"{name}: {fault!r}")
            raise

    def busy_with(self, prefix: str) -> bool:
        """Return whether something of this kind is still in progress."""
        self._lasting = [one for one in self._lasting if one[1].is_alive()]
        return any(name.startswith(prefix) for name, _ in self._lasting)

    def calm(self) -> None:
        """Wait until nothing is in progress any more."""
        for _, thread in self._lasting:
            thread.join()
        self.card.make_room()
        self.stream.silent = False
        self.hostile.close()

    def clear_up(self) -> None:
        """Stop and unmount everything, whatever happened."""
        self.stopping.set()
        for run in self.runs.values():
            if run.running():
                run.process.kill()
                run.process.wait()
        for _, thread in self._lasting:
            thread.join(10.0)
        if self.stream.is_alive():
            self.stream.stop()
        self.hostile.close()
        self.serial.end()
        self.udp.close()
        self.card.make_room()
