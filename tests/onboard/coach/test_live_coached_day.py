"""A coached day, played live over UDP by a rider who obeys the screen."""

import itertools
import json
import os
import struct
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from groundside.reports.compare.run_sheet import RunEntry
from groundside.reports.compare.trial_log import read_trial_log
from onboard.coach.reckoning import standing_of
from onboard.contract.coach import Coach, StepCode
from onboard.contract.codec import from_line
from onboard.contract.commands import Set, TrialPlan
from onboard.contract.figure import Unknown
from onboard.contract.snapshot import Snapshot
from onboard.efficiency.trial.trial import Trial, TrialRide, trial_of
from onboard.profile import profile_for
from onboard.record.marked_runs import trial_spans
from onboard.record.marks import in_record, read_marks
from tests.coached_rider import POWER_W, CoachedRider
from tests.craft.trial_boat import TrialBoat
from tests.daemon_process import Daemon
from tests.onboard.small_rides import PACK
from tests.patience import PATIENCE_S
from tests.udp_queue import Outlet, unread_bytes

pytestmark = pytest.mark.slow

CLOCKED = """
import struct
from pathlib import Path
import onboard.telemetry.link.stamp_clock as stamps

class OfTheBoat:
    start_us = 1_750_000_000_000_000

    def __call__(self):
        said = Path({path!r}).read_bytes()
        return self.start_us + int(struct.unpack("<d", said)[0] * 1e6) & ~3

stamps.StampClock = OfTheBoat
"""
"""Lets a daemon's clock of receipt go with the boat, which is played faster than it rides."""

COSTS = {"A": 0.0, "B": 0.08}
LONGEST_S = 3600.0
SETTLES_S = 4.0
"""Longest lag of settled seconds behind the newest sample."""


class Screen:
    """The newest snapshot of a daemon's feed."""

    def __init__(self, daemon: Daemon) -> None:
        self._lines = self._read(daemon)

    def _read(self, daemon: Daemon):
        for snapshot in daemon.snapshots():
            read = from_line(json.dumps(snapshot).encode())
            assert isinstance(read, Snapshot)
            yield read

    def when(self, condition) -> Snapshot:
        """Return the first snapshot that fulfils a condition."""
        end_s = time.monotonic() + PATIENCE_S
        for snapshot in self._lines:
            if condition(snapshot):
                return snapshot
            assert time.monotonic() < end_s, snapshot
        raise AssertionError("the feed ended")


def saved_standing(folder: Path) -> Any:
    """Return what `compare` makes of the saved session."""
    profile = profile_for(None, folder)
    log = read_trial_log(RunEntry(None, folder).log, profile)
    marks = in_record(read_marks(folder), log.zero_stamp_s)
    assert log.begins_s is not None
    ride = TrialRide(
        log.seconds, log.steady, trial_spans(marks) or [], 0, log.begins_s + log.zero_s, folder.name
    )
    trial = trial_of([ride], profile.sensors, coached=True)
    assert isinstance(trial, Trial)
    return standing_of(trial, 0.0)


def test_a_rider_who_obeys_the_screen_comes_to_an_answer_that_compare_confirms(
    tmp_path: Path,
) -> None:
    (tmp_path / "craft.toml").write_text(PACK)
    rides = tmp_path / "rides"
    options = ("--profile", str(tmp_path / "craft.toml"), "--record", str(rides))
    boat = TrialBoat(COSTS, 5)
    rider = CoachedRider(boat, each_s=4.0)
    clock = tmp_path / "clock"
    clock.write_bytes(struct.pack("<d", 0.0))
    options += ("--link", "udpin:127.0.0.1:0", "--crew-listen", "off")
    with Daemon(*options, broken=CLOCKED.format(path=str(clock))) as daemon:
        screen = Screen(daemon)
        with Outlet(daemon.port("link udpin")) as link:

            def ride(frames) -> None:
                for second, some in itertools.groupby(frames, lambda frame: int(frame.time_s)):
                    with clock.open("r+b") as file:
                        os.pwrite(file.fileno(), struct.pack("<d", float(second)), 0)
                    for frame in some:
                        link.send(frame.data)
                    while unread_bytes(link.port):
                        time.sleep(0.001)

            ride(boat.ride(6.0, "as is", 0.0, 40.0))
            plan = TrialPlan(tuple(COSTS), "there_and_back")
            for command in (Set(0, "trial", plan), Set(0, "target_power_w", POWER_W)):
                raw = command.as_dict()
                del raw["id"]
                assert daemon.send_command(**raw)["ok"]
            while boat.t_s < LONGEST_S:
                coach = screen.when(
                    lambda shown: (
                        isinstance(shown.coach, Coach) and shown.t_s > boat.t_s - SETTLES_S
                    )
                ).coach
                if coach.step.code in (StepCode.ENOUGH, StepCode.ENOUGH_ALIKE):
                    break
                frames, setup = rider.obey(coach.step)
                if setup is not None:
                    assert daemon.send_command(kind="set", key="setup", value=setup)["ok"]
                ride(frames)
            # At rest until the last run is surely in the standing.
            ride(boat.ride(40.0, rider.setup, 0.0))
            ended_s = boat.t_s - 35.0
            last = screen.when(
                lambda shown: (
                    isinstance(shown.coach, Coach)
                    and not isinstance(shown.coach.standing, Unknown)
                    and shown.t_s > boat.t_s - SETTLES_S
                )
            ).coach
    assert last.step.code is StepCode.ENOUGH, (rider.steps, last)
    assert last.step.values == {"setup": "A"}
    assert min(last.runs) >= 2
    assert last.standing.until_s > ended_s - 60.0
    (folder,) = [path for path in rides.iterdir() if path.is_dir()]
    assert replace(last.standing, until_s=0.0) == saved_standing(folder)
    assert rider.steps[:8] == [
        "swap", "start", "settle", "hold", "turn", "back", "settle", "hold"
    ]  # fmt: skip
