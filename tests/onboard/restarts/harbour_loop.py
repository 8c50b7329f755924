"""The sample ride `harbour_loop` in two parts, as a daemon records it around a restart."""

import json
from pathlib import Path
from typing import Any

from onboard.profile import load_profile
from onboard.restarts.refold import CARRIED_NAME, Session, carried_text
from onboard.ride.ride import Ride
from onboard.telemetry.logs.log_files import RECORD_NAME
from onboard.telemetry.logs.telemetry_log import read_log
from onboard.telemetry.mavlink.frames import Frames
from tests.wire import wire

LOGS = Path(__file__).parents[3] / "replay_logs"
PROFILE = load_profile(LOGS / "harbour_loop.toml")
HALF_S, AWAY_S = 200.0, 15.0


def parts() -> tuple[Frames, Frames]:
    """Return the frames up to half of the loop, and those from a quarter of a minute later on."""
    (frames,) = [part for part in read_log(LOGS / "harbour_loop.tlog", 1 << 24) if len(part)]
    since_s = (frames.stamp_us - frames.stamp_us[0]) * 1e-6
    return frames.where(since_s < HALF_S), frames.where(since_s >= HALF_S + AWAY_S)


def snapshot(ride: Ride) -> dict[str, Any]:
    """Return the snapshot at the end of a ride, without the state of the link."""
    ride.finish()
    taken: dict[str, Any] = json.loads(json.dumps(wire(ride.snapshot("x", age_s=0.0))))
    return {key: value for key, value in taken.items() if key != "link"}


def session(folder: Path, frames: Frames) -> Session:
    """Return a session that began a trip, with these frames in its record."""
    folder.mkdir()
    (folder / RECORD_NAME).write_bytes(frames.records())
    (folder / CARRIED_NAME).write_text(carried_text(None))
    return Session(folder)
