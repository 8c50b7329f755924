"""The series along a trip's line: what is a gap, and what only seems one."""

import pytest

from groundside.dashboard.live_trip_line import LiveTripLine
from groundside.studies.trip_series import GAP_S, gaps, trip_series
from onboard.contract.figure import Figure
from onboard.contract.trip_line import TripLine
from tests.made_snapshot import made_snapshot


def line_of(times: list[float], every_s: float = 1.0) -> TripLine:
    """Return a line at 2 m/s and 360 W."""
    columns = (tuple(rate * t_s for t_s in times) for rate in (1.0, 2.0, 0.1))
    return TripLine(*columns, every_s)


def extended(given: TripLine, times: list[float]) -> TripLine:
    """Return a line extended by snapshots at these times [s]."""
    line = LiveTripLine()
    line.replace(given)
    for t_s in times:
        sums = {"trip__distance_m": Figure(2.0 * t_s), "trip__energy_wh": Figure(0.1 * t_s)}
        line.extend(made_snapshot(t_s=t_s, **sums))
    return line.record


@pytest.mark.parametrize(
    ("speed", "given"),
    # The daemon folds once a second, so a demo played 20 times as fast has full snapshots 20 s
    # apart. Its own line came before, at the start or half-way.
    [(20.0, []), (20.0, [float(n) for n in range(0, 240, 2)]), (100.0, [0.0]), (60.0, [0.0, 1.0])],
)
def test_a_demo_played_fast_has_no_holes(speed: float, given: list[float]) -> None:
    begin_s = given[-1] if given else 0.0
    # not to the tick: the demo's daemon folds once it has received a second
    times = [begin_s + n * speed + 0.21 * (n % 3) for n in range(1, 12)]
    line = extended(line_of(given, 2.0 if len(given) > 2 else 1.0), times)
    for end in range(len(given) + 2, len(line.t_s) + 1):
        # at every moment, not only at the end
        columns = (column[:end] for column in (line.t_s, line.distance_m, line.energy_wh))
        series = trip_series(TripLine(*columns, line.every_s))
        new = slice(len(given) + 1, None)
        assert series.power_w[new] == pytest.approx([360.0] * (end - len(given) - 1))
        assert series.wh_per_km[new] == pytest.approx([50.0] * (end - len(given) - 1))


@pytest.mark.parametrize("every_s", [1.0, 4.0])
def test_a_gap_is_one_at_any_step(every_s: float) -> None:
    times = [n * every_s for n in range(100)]
    gap_s = max(GAP_S, 3.0 * every_s)
    for silent_s, is_gap in ((0.9 * gap_s, False), (1.1 * gap_s, True)):
        after = [times[-1] + silent_s + n * every_s for n in range(30)]
        line = line_of([*times, *after], every_s)
        assert [n for n, gap in enumerate(gaps(line)) if gap] == ([100] if is_gap else [])


def test_a_gap_in_snapshots_at_the_usual_pace_is_one() -> None:
    line = extended(line_of([0.0, 1.0, 2.0]), [3.0, 4.0, 5.0, 65.0, 66.0, 67.0])
    assert [line.t_s[n] for n, gap in enumerate(gaps(line)) if gap] == [65.0]
    assert trip_series(line).power_w[line.t_s.index(66.0)] is None


@pytest.mark.parametrize("times", [[], [1.0], [1.0, 2.0]])
def test_short_lines_have_no_gaps(times: list[float]) -> None:
    assert gaps(line_of(times)) == (False,) * len(times)
