"""A real daemon with a fault in its figures: the record loses nothing, and an alert reports it."""

import re
from pathlib import Path
from typing import Any

import pytest

from onboard.telemetry.logs.log_files import RECORD_NAME
from tests.daemon_process import Daemon
from tests.faults.faulty_link import udp
from tests.small_streams import Sender

pytestmark = pytest.mark.slow

BREAK = """
from {module} import {owner}
sound, calls = {owner}.{name}, []
def broken(*given, **named):
    calls.append(1)
    if {when}:
        raise RuntimeError("nobody foresaw this")
    return sound(*given, **named)
{owner}.{name} = broken
"""


def broken(module: str, owner: str, name: str, when: str) -> str:
    return BREAK.format(module=module, owner=owner, name=name, when=when)


def codes(snapshot: dict[str, Any]) -> set[str]:
    return {alert["code"] for alert in snapshot["alerts"]}


def failing(snapshot: dict[str, Any]) -> bool:
    return not codes(snapshot).isdisjoint({"figures_failed", "figures_given_up"})


def ridden(folder: Path, fault: str, until) -> tuple[Daemon, list[dict[str, Any]], bytes]:
    """Send telemetry until a condition on the snapshots holds; return them, and the bytes sent."""
    sender, sent, seen = Sender(), b"", []
    options = ("--link", "udpin:127.0.0.1:0", "--record", str(folder))
    with Daemon(*options, broken=fault) as daemon, udp(daemon.port("link udpin")) as send:
        for second, snapshot in enumerate(daemon.snapshots()):
            seen.append(snapshot)
            if until(seen):
                break
            assert len(seen) < 600, snapshot
            for frame in sender.second(100.0 + second, 40.0, 8.0, 1.5):
                send(frame)
                sent += frame
        # Everything has arrived once a snapshot has its count, with figures or not: it is recorded
        # by then, and the rest is written at the end.
    return daemon, seen, sent


def recorded(folder: Path) -> bytes:
    (path,) = folder.glob(f"*/{RECORD_NAME}")
    data, frames, at = path.read_bytes(), b"", 0
    while at < len(data):
        end = at + 8 + 12 + data[at + 9]
        frames += data[at + 8 : end]
        at = end
    return frames


def test_a_fault_at_every_frame_costs_only_the_figures(tmp_path: Path) -> None:
    fault = broken("onboard.ride.ride", "Ride", "take", "len(calls) > 20")
    daemon, seen, sent = ridden(
        tmp_path, fault, lambda seen: sum(failing(one) for one in seen) > 15
    )
    assert recorded(tmp_path) == sent
    failed = next(one for one in seen if failing(one))
    assert failed["range_m"]["now"] is None
    assert failed["trip"]["why"]["energy_wh"]["code"] == "working_again"
    # A ride that gets no data shows neither a silent link nor a negative rate.
    for one in (one for one in seen if failing(one)):
        assert one["link"]["messages_per_s"] is None
        assert one["why"]["position_deg"]["code"] in ("working_again", "given_up")
        assert one["why"]["course_deg"]["code"] in ("working_again", "given_up")
    # Isolated is not swallowed: the traceback is logged, though not hundreds of times. Each of the
    # three places that may meet the fault (the loop, the fold, the next fold) logs it once.
    assert "Traceback" in daemon.stderr
    ways = daemon.stderr.split("Traceback")[1:]
    faults = [re.findall(r'File "(.*)", line (\d+)', way) for way in ways]
    assert faults == [way for n, way in enumerate(faults) if way not in faults[:n]]
    assert 0 < len(faults) == daemon.stderr.count("nobody foresaw this") <= 3


def test_a_fault_at_one_frame_is_repaired_from_the_record(tmp_path: Path) -> None:
    fault = broken(
        "onboard.efficiency.sources.power_sources", "PowerSources", "fold", "len(calls) == 20"
    )

    def mended(seen: list[dict[str, Any]]) -> bool:
        failed = [n for n, one in enumerate(seen) if "figures_failed" in codes(one)]
        return bool(failed) and seen[-1]["trip"]["energy_wh"] is not None

    _, seen, sent = ridden(tmp_path, fault, mended)
    assert recorded(tmp_path) == sent
    trip = seen[-1]["trip"]
    # Complete: 320 W from the first second on, nothing left out.
    hours = trip["elapsed_s"] / 3600.0
    assert trip["energy_wh"]["value"] == pytest.approx(320.0 * hours, rel=0.03)
    assert trip["elapsed_s"] > 20


def test_an_estimator_that_always_fails_is_left_out_and_the_others_recover(
    tmp_path: Path,
) -> None:
    fault = broken("onboard.efficiency.curve.learner", "Learner", "fold", "len(calls) > 3")

    def back(seen: list[dict[str, Any]]) -> bool:
        return "part_left_out" in codes(seen[-1]) and seen[-1]["trip"]["energy_wh"] is not None

    _, seen, sent = ridden(tmp_path, fault, back)
    assert recorded(tmp_path) == sent
    assert seen[-1]["curve"] is None
    assert seen[-1]["why"]["curve"]["code"] == "left_out"
    (alert,) = (one for one in seen[-1]["alerts"] if one["code"] == "part_left_out")
    assert alert["parts"] == ["curve"]


def test_a_feed_that_fails_occasionally_continues(tmp_path: Path) -> None:
    fault = broken("onboard.feed.server", "FeedServer", "publish", "len(calls) % 7 == 0")
    _, _, sent = ridden(
        tmp_path, fault, lambda seen: any("feed_failed" in codes(one) for one in seen)
    )
    assert recorded(tmp_path) == sent


def test_a_card_that_fails_every_sync_still_gets_the_record(tmp_path: Path) -> None:
    fault = """
import os
def failing(descriptor):
    raise OSError(5, "Input/output error")
os.fsync = os.fdatasync = failing
"""
    _, _, sent = ridden(
        tmp_path, fault, lambda seen: any("record_at_risk" in codes(one) for one in seen)
    )
    # The alert reported the record at risk, but it is complete.
    assert recorded(tmp_path) == sent
