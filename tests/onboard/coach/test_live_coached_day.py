"""A coached day, played live over UDP by a rider who obeys the screen."""

import itertools
import json
import os
import struct
import time
from pathlib import Path
from typing import Any

import pytest

from groundside.command_line import main
from onboard.contract.coach import Coach, StepCode
from onboard.contract.codec import from_line, plain
from onboard.contract.commands import Set, TrialPlan
from onboard.contract.figure import Unknown
from onboard.contract.snapshot import Snapshot
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
LONGEST_S = 1500.0
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


def standing(coach: Coach) -> list[tuple[Any, ...]]:
    """Return the standing that the screen showed: set-up, group, how far behind, chance."""
    assert not isinstance(coach.standing, Unknown)
    return [
        (one.setup, one.group, plain(one.behind_fraction), one.best_chance_fraction)
        for one in coach.standing.places
    ]


def compared(folder: Path, capsys: pytest.CaptureFixture[str]) -> tuple[dict[str, Any], list]:
    """Return what the command `compare` says of the saved session, and its standing."""
    capsys.readouterr()
    assert main(["compare", str(folder), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    return found, [
        (one["name"], one["group"], one["behind_fraction"], one["chance_best"])
        for one in found["places"]
    ]


def test_a_rider_who_obeys_the_screen_comes_to_an_answer_that_compare_confirms(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
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
            else:
                pytest.fail(f"no end: {rider.steps}")
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
    found, places = compared(folder, capsys)
    # To the last digit.
    assert standing(last) == places
    assert last.standing.told_fraction == found["told_fraction"]
    assert last.standing.power_w == found["power_w"]
    assert list(last.standing.cautions) == [one["code"] for one in found["warnings"]]
    assert rider.steps[:8] == [
        "swap", "start", "settle", "hold", "turn", "back", "settle", "hold"
    ]  # fmt: skip
