"""When the autopilot's clocks decide whether an earlier trip goes on; what is kept until then."""

from pathlib import Path

import pytest

from onboard.restarts.trip_decision import BACKLOG_MOST_FRAMES, TripDecision
from onboard.restarts.trip_sessions import look_back
from onboard.ride.learned_file import Clocks
from onboard.telemetry.logs.telemetry_log import read_log
from onboard.telemetry.mavlink.frames import Frames
from tests.onboard.restarts.begun_sessions import NONE, begin
from tests.onboard.small_rides import done
from tests.small_streams import Sender, records


@pytest.mark.parametrize(
    ("boot_s", "utc_s", "later_s", "count"),
    [
        (NONE, NONE, 0.0, None),
        (NONE, NONE, 1e6, None),
        (115.0, NONE, 5.0, None),
        (115.0, NONE, 25.0, 1),
        (115.0, 1.75e9, 0.0, 1),
        (3.0, 1.75e9, 0.0, 0),
    ],
)
def test_the_autopilots_clocks_decide(
    tmp_path: Path, boot_s: float, utc_s: float, later_s: float, count: int | None
) -> None:
    decision = TripDecision(done(look_back(begin(tmp_path, 100, 110))))
    clocks = Clocks(boot_s, utc_s, NONE)
    decision.verdict(clocks, 100.0)
    verdict = decision.verdict(clocks, 100.0 + later_s)
    assert (verdict and len(verdict.sessions)) == count


def test_a_link_that_sends_for_long_without_an_autopilot_ends_no_trip(tmp_path: Path) -> None:
    decision = TripDecision(done(look_back(begin(tmp_path, 100, 110))))
    (tmp_path / "x.tlog").write_bytes(records([Sender(9, 190).heartbeat(6, 8)] * 1000))
    (frames,) = [one for one in read_log(tmp_path / "x.tlog") if len(one)]
    for _ in range(BACKLOG_MOST_FRAMES // len(frames) + 1):
        decision.add(frames)
    assert decision.backlog.overrun
    assert not any(isinstance(one, Frames) for one in decision.backlog.parts)
    verdict = decision.verdict(Clocks(130.0, 1.75e9, NONE), 0.0)
    assert verdict is not None
    assert len(verdict.sessions) == 1
