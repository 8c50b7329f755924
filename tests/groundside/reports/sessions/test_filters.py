"""Filters by day in UTC, set-up, label and distance; totals."""

import datetime
import math
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundside.command_line import main
from groundside.reports.sessions.filters import RideFilter, filter_from, newest_first
from groundside.studies.rides import SeasonRide, Share, Sums, setup_totals, totals
from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.errors import UsageError
from tests.groundside.reports.sessions.made_sessions import DAY_US, START_US, listed, names, session

UNDATED = Unknown(Reason.NO_DATE)


def ride(start_utc: str | Unknown, **more) -> SeasonRide:
    return SeasonRide(Path(f"/season/{start_utc}"), Sums(start_utc=start_utc), **more)


def asked(**options) -> RideFilter:
    usual = dict.fromkeys(("since", "until", "setup", "label", "longer_than_m"))
    return filter_from(**{**usual, **options})


@pytest.fixture
def far_east(monkeypatch):
    """Set the local clock eleven hours ahead of UTC."""
    with monkeypatch.context() as patch:
        patch.setenv("TZ", "Etc/GMT-11")
        time.tzset()
        assert time.localtime(0).tm_hour == 11
        yield
    time.tzset()


MIDNIGHT = "2025-06-15T00:00:00.0Z"
LATE = "2025-06-15T23:59:59.9Z"


@pytest.mark.parametrize(
    ("since", "until", "start", "taken"),
    [
        ("2025-06-15", None, MIDNIGHT, True),
        ("2025-06-15", None, "2025-06-14T23:59:59.9Z", False),
        (None, "2025-06-15", LATE, True),
        (None, "2025-06-15", "2025-06-16T00:00:00.0Z", False),
        ("2025-06-15", "2025-06-15", LATE, True),
        ("2025-06-15", "2025-06-15", "2025-06-16T00:00:00.0Z", False),
        # In a zone two hours ahead that day began and ended two hours earlier.
        ("2025-06-15T00:00+02:00", None, "2025-06-14T22:00:00.0Z", True),
        ("2025-06-15T00:00+02:00", None, "2025-06-14T21:59:59.9Z", False),
        (None, "2025-06-16T00:00-08:00", "2025-06-16T07:59:59.9Z", True),
        (None, "2025-06-16T00:00-08:00", "2025-06-16T08:00:00.0Z", False),
        # Without an offset it is UTC, wherever the laptop stands.
        ("2025-06-15T12:00", None, "2025-06-15T12:00:00.0Z", True),
        ("2025-06-15T12:00", None, "2025-06-15T11:59:59.9Z", False),
        ("2025-06-15T12:00Z", None, "2025-06-15T11:59:59.9Z", False),
        ("2025-06-15", None, UNDATED, False),
        (None, "9000-01-01", UNDATED, False),
        ("2025-06-15", None, "no date at all", False),
    ],
)
def test_days_are_utc_and_inclusive(since, until, start, taken, far_east) -> None:
    assert asked(since=since, until=until).takes(ride(start)) is taken


@given(st.datetimes(timezones=st.just(datetime.UTC)), st.dates(), st.dates())
def test_spans_of_days_follow_the_calendar(moment, one, other) -> None:
    first, last = sorted((one, other))
    if last == datetime.date.max:
        return
    start = f"{moment.isoformat()}".replace("+00:00", "Z")
    found = asked(since=first.isoformat(), until=last.isoformat()).takes(ride(start))
    assert found == (first <= moment.date() <= last)


@pytest.mark.parametrize(
    "options",
    [
        {"since": "yesterday"},
        {"since": ""},
        {"until": "2025-13-01"},
        {"until": "9999-12-31"},
        {"since": "0001-01-01T00:00+14:00"},
        {"since": "2025-06-16", "until": "2025-06-15"},
        {"since": "2025-06-15T12:00", "until": "2025-06-15T12:00"},
    ],
)
def test_an_invalid_date_is_refused(options) -> None:
    with pytest.raises(UsageError, match=r"expected (YYYY-MM-DD|a date behind)"):
        asked(**options)


def test_newest_first_and_undated_last() -> None:
    rides = [ride(UNDATED), ride(MIDNIGHT), ride(LATE), ride("2024-01-01T00:00:00.0Z")]
    starts = [one.sums.start_utc for one in newest_first(rides)]
    assert starts == [LATE, MIDNIGHT, "2024-01-01T00:00:00.0Z", UNDATED]


def test_filters_on_the_command_line(capsys, tmp_path: Path) -> None:
    a = session(tmp_path, named=[(0, "B")], seconds=60)
    b = session(tmp_path, START_US + DAY_US, named=[(0, "b")], number=2, seconds=120)
    main(["sessions", str(tmp_path), "--set-label", a.name, "Choppy, with a Friend"])
    capsys.readouterr()

    def found(*options: str) -> list[str]:
        return names(listed(capsys, tmp_path, *options))

    assert found() == [b.name, a.name]
    assert found("--since", "2025-06-16") == [b.name]
    assert found("--until", "2025-06-15") == [a.name]
    assert found("--setup", "B") == [a.name]
    assert found("--label", "friend") == [a.name]
    assert found("--longer-than-m", "150") == [b.name]
    assert found("--setup", "B", "--longer-than-m", "150") == []
    assert main(["sessions", str(tmp_path), "--setup", "C"]) == 0
    assert capsys.readouterr().out == "none of 2 sessions is like that\n"
    assert main(["sessions", str(tmp_path), "--setup", "B"]) == 0
    assert "1 of 2 sessions" in capsys.readouterr().out


def figure(value: float) -> Figure:
    return Figure(value, 0.95 * value, 1.05 * value)


def test_totals_are_ratios_of_sums() -> None:
    rides = [
        SeasonRide(Path("a"), Sums(distance_m=figure(1000.0), energy_wh=figure(100.0))),
        SeasonRide(Path("b"), Sums(distance_m=figure(9000.0), energy_wh=figure(300.0))),
        # A quantity known alone is in its own sum, but in no ratio.
        SeasonRide(Path("c"), Sums(energy_wh=figure(1000.0))),
        SeasonRide(Path("d"), Sums(distance_m=figure(500.0), duration_s=60.0)),
        SeasonRide(Path("e"), problem="not there"),
    ]
    found = totals(rides)
    assert isinstance(found.wh_per_km, Figure)
    assert found.wh_per_km.value == pytest.approx(40.0)  # the mean of the ratios is 66.7
    assert (found.rides, found.rides_in_ratio, found.duration_s) == (5, 2, 60.0)
    assert (found.energy_wh, found.distance_m) == (
        Figure(1400.0, pytest.approx(1330.0), pytest.approx(1470.0)),
        Figure(10500.0, pytest.approx(9975.0), pytest.approx(11025.0)),
    )
    # Both at their worst.
    assert found.wh_per_km.low == pytest.approx(40.0 * 0.95 / 1.05)
    assert found.wh_per_km.high == pytest.approx(40.0 * 1.05 / 0.95)
    assert totals([]).wh_per_km == Unknown(Reason.TOGETHER_IN_NONE)
    assert totals(rides[3:]).energy_wh == Unknown(Reason.KNOWN_IN_NONE)
    still = Sums(distance_m=Figure(0.0, 0.0, 7.0), energy_wh=figure(1.3))
    at_rest = totals([SeasonRide(Path("f"), still)])
    assert at_rest.wh_per_km == Unknown(Reason.HARDLY_MOVED_IN_ANY)


def test_energy_of_another_stretch_is_left_out_of_the_ratio() -> None:
    # Speed was known for a tenth of the ride: 400 Wh belong to more than these 1,000 m.
    sums = Sums(distance_m=figure(1000.0), energy_wh=figure(400.0), wh_per_km=figure(40.0))
    found = totals([SeasonRide(Path("a"), sums)])
    assert found.wh_per_km == Unknown(Reason.TOGETHER_IN_NONE)
    assert found.rides_in_ratio == 0
    assert found.energy_wh == figure(400.0)


amounts = st.one_of(st.none(), st.floats(1.0, 1e5))
parts = st.lists(st.builds(Share, st.sampled_from("ABC"), amounts, amounts), max_size=4)


@given(st.lists(parts, max_size=5))
def test_shares_of_set_ups_add_up_to_the_totals(rides: list[list[Share]]) -> None:
    season = [SeasonRide(Path(str(n)), Sums(shares=tuple(some))) for n, some in enumerate(rides)]
    found = {one.setup: one for one in setup_totals(season)}
    for label, one in found.items():
        own = [share for some in rides for share in some if share.setup == label]
        assert one.rides == sum(any(share.setup == label for share in some) for some in rides)
        known_m = [share.distance_m for share in own if share.distance_m is not None]
        if known_m:
            assert one.distance_m == pytest.approx(math.fsum(known_m))
        else:
            assert one.distance_m == Unknown(Reason.KNOWN_IN_NONE)
        both = [share for share in own if None not in (share.energy_wh, share.distance_m)]
        if both:
            ratio = sum(s.energy_wh for s in both) / sum(s.distance_m for s in both) * 1e3
            assert one.wh_per_km == pytest.approx(ratio)
        else:
            assert one.wh_per_km == Unknown(Reason.TOGETHER_IN_NONE)
    assert found.keys() == {share.setup for some in rides for share in some}


def test_set_ups_are_listed_with_a_remark(capsys, tmp_path: Path) -> None:
    session(tmp_path, named=[(0, "A"), (60, "B")], seconds=120)
    session(tmp_path, START_US + DAY_US, named=[(0, "B")], number=2, amps=20.0)
    found = listed(capsys, tmp_path, "--setups")
    assert "no comparison" in found["remark"]
    b, a = found["setups"]
    assert (b["setup"], b["sessions"], a["setup"], a["sessions"]) == ("B", 2, "A", 1)
    # 500 W at 2 m/s and as far at 1,000 W.
    assert a["wh_per_km"] == pytest.approx(500 / 7.2, rel=0.02)
    assert b["wh_per_km"] == pytest.approx(750 / 7.2, rel=0.02)
    assert main(["sessions", str(tmp_path), "--setups"]) == 0
    out = capsys.readouterr().out
    assert "no comparison" in out
    assert "`compare`" in out
