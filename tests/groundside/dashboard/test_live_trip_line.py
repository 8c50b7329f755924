"""The trip's line between two sent by the source."""

import pytest

from groundside.dashboard.live_trip_line import LiveTripLine
from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.contract.trip_line import TripLine
from tests.groundside.dashboard.steered_app import snapshot

GIVEN = TripLine((10.0, 11.0), (0.0, 2.0), (0.0, 0.1))


def test_snapshots_extend_the_given_line() -> None:
    line = LiveTripLine()
    line.replace(GIVEN)
    assert line.record is GIVEN
    line.extend(snapshot(t_s=12.0, trip__distance_m=Figure(4.0), trip__energy_wh=Figure(0.2)))
    assert line.record == TripLine(
        (10.0, 11.0, 12.0), (0.0, 2.0, 4.0), (0.0, 0.1, 0.2), 1.0, (None, None, (45.01, -30.02))
    )
    line.replace(GIVEN)
    assert line.record is GIVEN


def test_one_point_per_second_and_one_record_of_it() -> None:
    line = LiveTripLine()
    for fifth in range(11):
        line.extend(snapshot(t_s=10.0 + fifth / 5))
    first = line.record
    assert first.t_s == (10.0, 11.0, 12.0)
    assert line.record is first


def test_a_step_back_in_time_starts_over() -> None:
    line = LiveTripLine()
    line.replace(GIVEN)
    line.extend(snapshot(t_s=3.0))
    assert line.record.t_s == (3.0,)


@pytest.mark.parametrize("lacks", ["trip__distance_m", "trip__energy_wh"])
def test_unknown_sums_add_nothing(lacks: str) -> None:
    line = LiveTripLine()
    line.replace(GIVEN)
    line.extend(snapshot(t_s=20.0, **{lacks: Unknown(Reason.NO_FIX)}))
    assert line.record is GIVEN


def test_a_snapshot_without_a_position_extends_the_line_without_one() -> None:
    line = LiveTripLine()
    line.replace(TripLine((10.0,), (0.0,), (0.0,), 1.0, ((45.0, -30.0),)))
    line.extend(snapshot(t_s=12.0, position_deg=Unknown(Reason.NO_FIX)))
    assert line.record.position_deg == ((45.0, -30.0), None)
