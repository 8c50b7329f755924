"""Sessions as a daemon leaves them, each with a few boot clocks in its record."""

import json
from pathlib import Path

from onboard.record.sessions import begin_session
from onboard.restarts.refold import CARRIED_NAME
from onboard.ride.learned_file import Clocks
from onboard.telemetry.logs.log_files import RECORD_NAME
from tests.small_streams import Sender, records

NONE = float("nan")
START_US = 1_750_000_000_000_000


def begin(directory: Path, *boot_s: float, anew: bool = False) -> Path:
    """Return a new session in which the autopilot stated these boot clocks, if any."""
    carried = json.dumps({"of": len(list(directory.glob("2*")))})
    folder = begin_session(directory, START_US, anew=anew, sidecars={CARRIED_NAME: carried})
    sender = Sender()
    frames = [sender.heartbeat(), *map(sender.attitude, boot_s)] if boot_s else []
    (folder / RECORD_NAME).write_bytes(records(frames))
    return folder


def now(boot_s: float) -> Clocks:
    return Clocks(boot_s, NONE, NONE)
