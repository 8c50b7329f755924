"""The lines that viewers get, whatever else fails: snapshots, and the trip line at intervals."""

import asyncio
import json
from concurrent.futures import Future
from typing import Any

import pytest

from onboard.daemon.own_alerts import OwnAlerts, Running
from onboard.daemon.publisher import RATE_OVER_S, TRIP_LINE_EVERY_S, Publisher
from onboard.record.subscriber import STRICT
from onboard.restarts.trip_keeper import TripKeeper
from onboard.restarts.trip_sessions import Past
from onboard.ride.ride import Ride
from onboard.telemetry.mavlink.signing import RefusedFrames
from tests.onboard.small_rides import A_SECOND, PROFILE, START_US, received


class Feed:
    """Collects what is published."""

    def __init__(self) -> None:
        self.lines: list[dict[str, Any]] = []

    def publish(self, line: bytes, _: float) -> None:
        self.lines += [json.loads(one) for one in line.splitlines()]

    def taken(self) -> list[dict[str, Any]]:
        taken, self.lines = self.lines, []
        return taken


class Scene:
    """A publisher with its keeper and a clock."""

    def __init__(self, **more: Any) -> None:
        self.feed, self.keeper, self.now_s = Feed(), TripKeeper(PROFILE, **more), 100.0
        self.publisher = Publisher(self.feed, lambda: self.keeper)  # type: ignore[arg-type]

    def take(self, begin: int, end: int) -> None:
        self.keeper.take(received(begin, end), START_US)
        self.publisher.craft_seen(self.now_s)

    def published(self) -> list[dict[str, Any]]:
        running = Running(self.now_s, None, self.now_s, 0, RefusedFrames(), ())
        self.publisher.publish(running, "link")
        return self.feed.taken()

    def snapshot(self) -> dict[str, Any]:
        return next(one for one in self.published() if one["kind"] == "snapshot")


def kinds(lines: list[dict[str, Any]]) -> list[str]:
    return [one["kind"] for one in lines]


def test_no_figure_is_shown_before_the_last_record_is_read() -> None:
    past: Future[Past] = Future()
    there = Scene(past=past)
    there.take(0, 20)
    there.keeper.poll(there.now_s)
    hidden = there.snapshot()
    assert (hidden["power_w"], hidden["trip"]["energy_wh"]) == (None, None)
    past.set_result(Past())
    there.keeper.poll(there.now_s)
    shown = there.snapshot()
    assert shown["power_w"] == pytest.approx(300.0)
    assert shown["trip"]["energy_wh"]["value"] > 0


def test_the_trip_line_is_sent_first_at_intervals_and_for_another_ride() -> None:
    there = Scene()
    assert kinds(there.published()) == ["trip_line", "snapshot"]
    there.now_s += TRIP_LINE_EVERY_S - 0.2
    assert kinds(there.published()) == ["snapshot"]
    there.now_s += 0.2
    assert kinds(there.published()) == ["trip_line", "snapshot"]
    there.now_s += 0.2
    there.publisher.another_ride()
    assert kinds(there.published()) == ["trip_line", "snapshot"]
    there.now_s += 0.2
    assert kinds(there.published()) == ["snapshot"]


def test_the_trip_line_has_the_positions_of_the_way() -> None:
    there = Scene()
    there.take(0, 40)
    (sent,) = (one for one in there.published() if one["kind"] == "trip_line")
    assert len(sent["position_deg"]) == len(sent["t_s"]) > 10
    places = [place for place in sent["position_deg"] if place is not None]
    assert len(places) > 10
    here = there.snapshot()["position_deg"]
    assert places[-1] == pytest.approx(here, abs=1e-3)
    # a viewer that connects later gets the same line first
    greeted = json.loads(there.publisher.trip_line())
    assert greeted["position_deg"] == sent["position_deg"]


def test_the_age_is_that_of_the_last_message() -> None:
    there = Scene()
    assert there.snapshot()["link"]["age_s"] is None
    there.take(0, 2)
    there.now_s += 1.5
    assert there.snapshot()["link"]["age_s"] == pytest.approx(1.5)
    there.take(2, 4)
    assert there.snapshot()["link"]["age_s"] == 0.0


def test_the_message_rate_is_of_the_last_seconds_of_one_ride() -> None:
    there = Scene()
    rates = []
    for n in range(30):
        there.take(n, n + 1)
        rates.append(there.snapshot()["link"]["messages_per_s"])
        there.now_s += 1.0
    assert rates[0] is None
    assert rates[-1] == pytest.approx(A_SECOND, rel=0.05)
    # Slower from now on: visible once the previous seconds are out of the window.
    for n in range(round(RATE_OVER_S) + 1):
        there.take(30 + n, 31 + n)
        there.now_s += 2.0
        rates.append(there.snapshot()["link"]["messages_per_s"])
    assert rates[-1] == pytest.approx(A_SECOND / 2, rel=0.05)
    there.keeper.new_trip()
    assert there.snapshot()["link"]["messages_per_s"] is None


def test_a_snapshot_that_fails_costs_the_figures_and_not_the_feed(monkeypatch) -> None:
    monkeypatch.setenv(STRICT, "0")

    async def run() -> None:
        there = Scene()
        there.take(0, 20)
        whole = Ride.snapshot
        calls = []

        def fails(ride: Ride, *given: Any, **named: Any) -> Any:
            calls.append(ride)
            if len(calls) == 1:
                raise ZeroDivisionError
            return whole(ride, *given, **named)

        monkeypatch.setattr(Ride, "snapshot", fails)
        assert there.snapshot()["power_w"] is None
        assert there.keeper.why_none is not None

    asyncio.run(run())


def test_failing_alerts_cost_only_themselves(monkeypatch) -> None:
    monkeypatch.setenv(STRICT, "0")
    there = Scene()
    there.take(0, 20)
    with monkeypatch.context() as broken:
        broken.setattr(OwnAlerts, "now", lambda *_: 1 / 0)
        assert there.snapshot()["power_w"] == pytest.approx(300.0)
        assert there.publisher.watching.failing
