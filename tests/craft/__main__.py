"""Command line of the simulated craft: write a scenario's log and truth, or send it live."""

import argparse
import json
from pathlib import Path

from tests.craft.live import opened, play
from tests.craft.onboard_log import onboard_log_bytes
from tests.craft.recording import golden, record
from tests.craft.scenarios import SCENARIOS
from tests.craft.telemetry_log import log_bytes


def main() -> None:
    parser = argparse.ArgumentParser(
        prog="python -m tests.craft",
        description=__doc__,
        epilog="scenarios: " + "; ".join(f"{name}: {s.about}" for name, s in SCENARIOS.items()),
    )
    parser.add_argument("--scenario", required=True, choices=sorted(SCENARIOS))
    parser.add_argument("--seed", type=int, help="another seed than the scenario's own")
    parser.add_argument("--out", type=Path, metavar="FILE.tlog", help="write the telemetry log")
    parser.add_argument(
        "--onboard-log", type=Path, metavar="FILE.bin", help="write the autopilot's own log"
    )
    parser.add_argument("--truth", type=Path, metavar="FILE.json", help="write the true figures")
    parser.add_argument("--live", metavar="TARGET", help="udpout:HOST:PORT, device:PATH or pty")
    parser.add_argument("--speed", type=float, default=1.0, help="times real time, with --live")
    chosen = parser.parse_args()
    if chosen.speed <= 0.0:
        parser.error(f"--speed {chosen.speed}: expected a number above 0")
    recording = record(SCENARIOS[chosen.scenario], chosen.seed)
    if chosen.out:
        chosen.out.write_bytes(log_bytes(recording.frames, recording.scenario.start_unix_s))
    if chosen.onboard_log:
        chosen.onboard_log.write_bytes(onboard_log_bytes(recording))
    if chosen.truth:
        chosen.truth.write_text(json.dumps(golden(recording), indent=2) + "\n")
    if chosen.live:
        with opened(chosen.live) as send:
            play(recording.frames, send, chosen.speed)


if __name__ == "__main__":
    main()
