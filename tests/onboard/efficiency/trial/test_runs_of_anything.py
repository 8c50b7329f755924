"""Whatever was ridden: runs are finite, within their span, and do not overlap."""

import math
from itertools import pairwise

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from onboard.efficiency.trial.runs import RunSpan, SpanKind, runs_in
from onboard.efficiency.trial.seconds import Seconds
from tests.onboard.efficiency.trial.made_legs import made_seconds


@st.composite
def rides(draw: st.DrawFn) -> Seconds:
    """Return rides of bends and straights at powers that may be nothing, with holes."""
    parts = draw(
        st.lists(
            st.tuples(
                st.integers(1, 120),
                st.sampled_from([0.0, 0.0, 0.03, -0.03, 0.06, 0.25, math.pi]),
                st.sampled_from([0.0, 0.2, 1.0, 2.0, 9.0]),
                st.sampled_from([0.0, -5.0, 40.0, 400.0, 420.0]),
                st.sampled_from([0, 0, 0, 1, 7, 20]),
            ),
            max_size=12,
        )
    )
    course, speed, power = [0.0], [0.0], [0.0]
    for lasts_s, rate, mps, watts, lost_s in parts:
        course += (course[-1] + rate * np.arange(1, lasts_s + 1)).tolist()
        speed += [mps] * lasts_s
        power += [math.nan] * min(lost_s, lasts_s) + [watts] * max(lasts_s - lost_s, 0)
    way, mps = np.array(course), np.array(speed)
    seconds = made_seconds(mps * np.sin(way), mps * np.cos(way), np.array(power))
    keep = np.ones(len(seconds), np.bool_)
    for first in draw(st.lists(st.integers(0, 600), max_size=2)):
        keep[first : first + draw(st.sampled_from([3, 12, 30]))] = False
    return seconds.where(keep)


@given(
    rides(),
    st.sampled_from(SpanKind),
    st.booleans(),
    st.tuples(st.floats(-10.0, 900.0), st.floats(-10.0, 900.0)),
)
def test_runs_of_any_ride(
    seconds: Seconds, kind: SpanKind, marked: bool, span_s: tuple[float, float]
) -> None:
    for start_s, end_s in (span_s, (-math.inf, math.inf)):
        found = runs_in(seconds, RunSpan("a", start_s, end_s, marked, kind), "log")
        for one in found.legs:
            assert one.start_s >= start_s - 1e-6
            assert one.start_s + one.seconds_s <= end_s + 1e-6
            assert one.seconds_s > 0.0
            numbers = (one.power_w, one.power_sd_w, one.speed_mps, one.speed_sd_mps,
                       one.east_mps, one.north_mps, one.lap_m, one.lap_area_m2)  # fmt: skip
            assert all(map(math.isfinite, numbers))
            assert one.lap_m == 0.0 or one.speed_mps > 0.4
        for one, after in pairwise(found.legs):
            assert one.start_s + one.seconds_s <= after.start_s + 1.0 + 1e-6
        if kind is not SpanKind.EITHER:
            assert {one.lap_m > 0.0 for one in found.legs} <= {kind is SpanKind.LAPS}
