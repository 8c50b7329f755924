"""Lines between two folds: complete snapshots in which only the newest readings are new."""

import json
from dataclasses import replace

from onboard.contract.codec import as_line, from_line
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import Snapshot
from onboard.daemon.snapshot_line import SnapshotLine
from onboard.ride.newest import READINGS
from tests.made_snapshot import RIDING

QUIET = Unknown(Reason.QUIET, age_s=6.0)


def test_the_line_of_a_fold_is_the_snapshot() -> None:
    for snapshot in (RIDING, replace(RIDING, power_w=QUIET, curve=Unknown(Reason.NO_BATTERY))):
        line = SnapshotLine(snapshot).line
        assert from_line(line) == from_line(as_line(snapshot))
        assert json.loads(line) == json.loads(as_line(snapshot))


def test_a_line_between_folds_has_new_readings_and_all_else_as_it_was() -> None:
    before = replace(RIDING, heading_deg=QUIET, drive=Unknown(Reason.NO_DRIVE))
    link = replace(before.link, age_s=0.4)
    readings = {"power_w": 500.0, "course_deg": QUIET, "heading_deg": 12.5}
    line = SnapshotLine(before).newer(13, 431.9, link, readings)
    assert line.startswith(b'{"schema":2,"kind":"snapshot",')
    assert line.count(b"\n") == 1
    # A reason for each null, and for nothing else.
    raw = json.loads(line)
    assert {name for name, value in raw.items() if value is None} == set(raw["why"])
    after = from_line(line)
    assert isinstance(after, Snapshot)
    expected = replace(before, seq=13, newest_t_s=431.9, link=link, **readings)
    assert after == from_line(as_line(expected))


def test_the_next_line_does_not_remember_the_one_before() -> None:
    lines = SnapshotLine(RIDING)
    lines.newer(13, 431.9, RIDING.link, {"power_w": QUIET})
    again = from_line(lines.newer(14, 432.1, RIDING.link, {}))
    assert again == from_line(as_line(replace(RIDING, seq=14, newest_t_s=432.1)))


def test_no_reading_is_without_a_place_in_the_snapshot() -> None:
    assert set(READINGS) < set(json.loads(SnapshotLine(RIDING).line))
