"""The coach's reckoning of a day: twenty double runs of five set-ups, reckoned after each."""

import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from onboard.coach.reckoning import Reckoning
from onboard.contract.commands import Command, Set, TrialPlan
from onboard.profile import Profile
from tests.benchmarks.review import children_cpu_s
from tests.craft.trial_boat import TrialBoat
from tests.onboard.coach.made_day import POWER_W, START_UNIX_S, MadeDay

COSTS = {"A": 0.0, "B": 0.03, "C": 0.05, "D": 0.06, "E": 0.08}
ORDER = "ABCDEEDCBA" * 2
SWAP_S, TURN_S, RUN_S = 20.0, 20.0, 60.0
DOUBLE_RUN_S = SWAP_S + 2.0 * (TURN_S + RUN_S)
BEGIN_S = 5.0


def made() -> MadeDay:
    """Return the day: 40 runs in an hour."""
    boat = TrialBoat(COSTS, 1)
    heading = 40.0
    frames = boat.ride(BEGIN_S, "as is", 0.0, heading)
    plan = TrialPlan(tuple(COSTS), "there_and_back")
    commands: list[tuple[float, Command]] = [(boat.t_s, Set(1, "trial", plan))]
    for setup in ORDER:
        commands.append((boat.t_s, Set(2, "setup", setup)))
        frames += boat.ride(SWAP_S, setup, 0.0, heading)
        for _ in range(2):
            frames += boat.ride(TURN_S + RUN_S, setup, POWER_W, heading)
            heading = (heading + 180.0) % 360.0
    return MadeDay(frames, commands)


def lines() -> Iterator[str]:
    """Yield the lines of this part."""
    with tempfile.TemporaryDirectory() as name:
        reckoning = Reckoning([made().put(Path(name) / "session")], Profile())
        began_s, runs = time.process_time(), 0
        for number in range(1, len(ORDER) + 1):
            until_s = START_UNIX_S + BEGIN_S + DOUBLE_RUN_S * number
            runs = len(reckoning.reckon(round(until_s * 1e6)).runs)
        spent_s = time.process_time() - began_s
    start_s = children_cpu_s(
        lambda: subprocess.run([sys.executable, "-c", "import onboard.coach.reckoner"], check=True)
    )
    yield f"coach, {runs} runs reckoned {len(ORDER)} times: {spent_s:.2f} s of CPU in all"
    yield f"    to start the child besides: {start_s:.2f} s"
