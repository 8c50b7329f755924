"""The soak's stream: sent in a thread at its own pace; every frame is recorded."""

import threading
import time
from bisect import bisect_left
from dataclasses import dataclass, field

from tests.faults.soak_craft import CAPACITY_AH, STRAY_PACK, TICK_S, Autopilot, Craft
from tests.faults.soak_outlets import Serial, Udp

NOBODY = -1
A_LITTLE_S = 4.0


@dataclass
class Sent:
    """Every frame sent, in order, with its time, run of the daemon and tick."""

    data: list[bytes] = field(default_factory=list)
    at_s: list[float] = field(default_factory=list)
    run: list[int] = field(default_factory=list)
    tick: list[int] = field(default_factory=list)


@dataclass
class Truth:
    """Energy and distance of the craft at each tick, sent or not."""

    at_s: list[float] = field(default_factory=list)
    energy_wh: list[float] = field(default_factory=list)
    distance_m: list[float] = field(default_factory=list)
    drops: list[int] = field(default_factory=list)
    """Drops by the kernel at the daemon's port during each tick."""

    def between(self, begin_s: float, end_s: float) -> tuple[float, float]:
        """Return energy [Wh] and distance [m] between two times."""
        (e0, d0), (e1, d1) = self._at(begin_s), self._at(end_s)
        return e1 - e0, d1 - d0

    def _at(self, moment_s: float) -> tuple[float, float]:
        place = (moment_s - self.at_s[0]) / TICK_S
        n = min(max(int(place), 0), len(self.at_s) - 2)
        part = min(max(place - n, 0.0), 1.0)
        one, two = self.energy_wh, self.distance_m
        return (
            one[n] + (one[n + 1] - one[n]) * part,
            two[n] + (two[n + 1] - two[n]) * part,
        )


class Stream(threading.Thread):
    """Sends the craft's frames five times a second until it is stopped.

    Parameters
    ----------
    seed
        Seed of the ride.
    outlet
        Where to send; may be changed while no daemon is up.
    """

    def __init__(self, seed: int, outlet: Udp | Serial) -> None:
        super().__init__(name="stream", daemon=True)
        self.outlet = outlet
        self.run_number, self.pid = NOBODY, None
        """The daemon that may be listening; its process id."""
        self.craft = Craft(seed)
        self.sent, self.truth = Sent(), Truth()
        self.silent = False
        self.booted_s = time.monotonic() - 7.0
        self.rebooted_s: list[float] = []
        self.late_s: list[tuple[float, float]] = []
        """When this thread was late, and by how much [s]: the machine's doing."""
        self.fault: BaseException | None = None
        self.untaken = 0
        self._autopilot = Autopilot()
        self._extra: list[bytes] = []
        self._lock = threading.Lock()
        self._ending = threading.Event()

    def stop(self) -> None:
        self._ending.set()
        self.join()

    def reboot(self, away_s: float) -> None:
        """Restart the autopilot; it is silent for `away_s` [s]."""
        with self._lock:
            self.booted_s = time.monotonic() + away_s
            self.rebooted_s.append(self.booted_s)
            self._autopilot.restart(self.craft)

    def stray_pack(self) -> None:
        """Send a single frame of a pack that never sends again."""
        with self._lock:
            self._extra.append(self._autopilot.battery(STRAY_PACK, 50.0, 8.0, 0.4))

    def odd_value(self, amps: float) -> None:
        """Send a single current that is impossible between its neighbours."""
        with self._lock:
            volts = self.craft.volts_v
            self._extra.append(self._autopilot.sys_status(volts, amps))
            self._extra.append(self._autopilot.battery(0, volts, amps, self._drawn_ah()))

    def swap_pack(self) -> None:
        with self._lock:
            self.craft.charge_fraction = 0.98

    def newest_s(self, by_s: float) -> float | None:
        """Return the time of the last frame sent to a daemon before a time; None without one."""
        for at_s, run in zip(reversed(self.sent.at_s), reversed(self.sent.run), strict=False):
            if at_s <= by_s and run != NOBODY:
                return at_s
        return None

    def sent_for_s(self, begin_s: float) -> float:
        """Return for how long frames have been sent to a daemon since a time, less a little [s]."""
        first = bisect_left(self.sent.at_s, begin_s)
        while first < len(self.sent.run) and self.sent.run[first] == NOBODY:
            first += 1
        newest_s = self.newest_s(time.monotonic())
        if newest_s is None or first >= len(self.sent.at_s):
            return 0.0
        return newest_s - self.sent.at_s[first] - A_LITTLE_S

    def late_most_s(self, begin_s: float, end_s: float) -> float:
        """Return the largest delay of this thread by the machine between two times [s]."""
        found = (late for at, late in self.late_s if begin_s - 1 <= at <= end_s + 1)
        return max(found, default=0.0)

    def run(self) -> None:
        try:
            self._go()
        except BaseException as fault:
            self.fault = fault
            raise

    def _go(self) -> None:
        began_s, number, dropped = time.monotonic(), 0, 0
        while not self._ending.is_set():
            tick_s = began_s + number * TICK_S
            self._ending.wait(max(tick_s - time.monotonic(), 0.0))
            late_s = time.monotonic() - tick_s
            if late_s > 0.1:
                self.late_s.append((tick_s, late_s))
            with self._lock:
                self.craft.step()
                self.truth.at_s.append(tick_s)
                self.truth.energy_wh.append(self.craft.energy_wh)
                self.truth.distance_m.append(self.craft.distance_m)
                boot_s = tick_s - self.booted_s
                if not self.silent and boot_s >= 0:
                    utc_s = time.time() + tick_s - time.monotonic()
                    frames = self._autopilot.frames(self.craft, number, boot_s, utc_s)
                    self._send(frames + self._extra, number)
                    self._extra = []
            now_dropped = self.outlet.drops()
            delta = max((now_dropped or 0) - dropped, 0)
            self.truth.drops.append(delta)
            dropped = now_dropped or 0
            number += 1

    def _send(self, frames: list[bytes], number: int) -> None:
        for frame in frames:
            run = self.run_number if self.outlet.reaches(self.pid) else NOBODY
            at_s = time.monotonic()
            if not self.outlet.send(frame):
                self.untaken += 1
                run = NOBODY
            self.sent.data.append(frame)
            self.sent.at_s.append(at_s)
            self.sent.run.append(run)
            self.sent.tick.append(number)

    def _drawn_ah(self) -> float:
        return CAPACITY_AH * (0.98 - self.craft.charge_fraction)
