"""A session with a trial, as the daemon leaves it: its record, its marks, its profile."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from onboard.contract.commands import Command, Mark, Set, TrialPlan
from onboard.record.marks import TimedCommand
from tests.craft.mavlink_stream import Frame
from tests.craft.telemetry_log import log_bytes
from tests.craft.trial_boat import TrialBoat

START_UNIX_S = 1_750_000_000.0
POWER_W = 400.0
COSTS = {"A": 0.0, "B": 0.06}
PLAN = TrialPlan(("A", "B"), "there_and_back")
ABBA = ("A", "B", "B", "A")


@dataclass(frozen=True)
class MadeDay:
    """Frames, and commands with their times [s]."""

    frames: Sequence[Frame]
    commands: Sequence[tuple[float, Command]]

    def put(self, folder: Path, until_s: float = 1e9) -> Path:
        """Write what there was up to a time; return the folder."""
        folder.mkdir(exist_ok=True)
        frames = [frame for frame in self.frames if frame.time_s <= until_s]
        (folder / "telemetry.tlog").write_bytes(log_bytes(frames, START_UNIX_S))
        marks = [
            TimedCommand(t_s, round((START_UNIX_S + t_s) * 1e6), None, command).as_dict()
            for t_s, command in self.commands
            if t_s <= until_s
        ]
        (folder / "marks.jsonl").write_text("".join(json.dumps(mark) + "\n" for mark in marks))
        return folder


@cache
def made_day(order: tuple[str, ...] = ABBA, seed: int = 1, by_hand: bool = False) -> MadeDay:
    """Return a day of double runs in an order; each run marked by hand if asked for."""
    boat = TrialBoat(COSTS, seed)
    frames, heading = boat.ride(5.0, "as is", 0.0, 40.0), 40.0
    commands: list[tuple[float, Command]] = [(boat.t_s, Set(1, "trial", PLAN))]
    for setup in order:
        commands.append((boat.t_s, Set(2, "setup", setup)))
        frames += boat.ride(20.0, setup, 0.0, heading)
        for _ in range(2):
            frames += boat.ride(20.0, setup, POWER_W, heading)
            begun_s = boat.t_s
            frames += boat.ride(60.0, setup, POWER_W, heading)
            if by_hand:
                commands += [(begun_s, Mark(3, "run_start")), (boat.t_s, Mark(4, "run_end"))]
            heading = (heading + 180.0) % 360.0
    frames += boat.ride(30.0, order[-1], 0.0, heading)
    return MadeDay(frames, commands)
