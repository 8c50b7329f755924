"""Viewers' commands are applied to the ride completely or not at all."""

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from onboard.contract.commands import Amount, Command, Mark, Refused, Set, parse_command
from onboard.contract.refusals import Refusal, RefusalCode
from onboard.profile import Profile, parse_profile
from onboard.ride.commands import apply_command, settings_in_force, with_place
from onboard.ride.ride import Ride
from onboard.telemetry.link.link_scanner import LinkScanner
from tests.small_streams import Sender
from tests.wire import wire

PROFILE = parse_profile("[battery]\nchemistry = 'li-ion'\ncells = 14\nenergy_wh = 1000\n")
START_US = 1_750_000_000_000_000


def ridden(profile: Profile = PROFILE, seconds: int = 90) -> Ride:
    ride, scanner, sender = Ride(profile), LinkScanner(), Sender()
    for n in range(seconds):
        frames = sender.second(300 + n, 50.0, 6.0, 1.8)
        ride.take(scanner.push([(START_US + n * 1_000_000, b"".join(frames))]))
    return ride


def never() -> str | None:
    raise AssertionError("no new trip was asked for")


def done(command: Command, ride: Ride) -> None:
    assert apply_command(command, ride, never) is None


def seen(ride: Ride) -> dict[str, Any]:
    taken: dict[str, Any] = json.loads(json.dumps(wire(ride.snapshot("x", age_s=0.0))))
    return taken


def test_one_target_replaces_another_and_null_clears_its_own() -> None:
    ride = ridden()
    done(Set(1, "target_distance_m", 3000.0), ride)
    assert seen(ride)["target"]["distance_m"] == 3000.0
    done(Set(2, "target_speed_mps", 2.5), ride)
    assert seen(ride)["target"]["speed_mps"] == 2.5
    assert seen(ride)["target"]["distance_m"] is None
    done(Set(3, "target_power_w", None), ride)  # none is set: the speed stays
    assert seen(ride)["target"]["speed_mps"] == 2.5
    done(Set(4, "target_speed_mps", None), ride)
    assert seen(ride)["target"] is None


def test_home_is_set_where_stated_or_at_the_craft() -> None:
    ride = ridden()
    done(Set(1, "home", (45.1, -30.0)), ride)
    # A degree of latitude at 45 degrees north is 111,131.8 m (WGS 84).
    assert seen(ride)["home"]["distance_m"] == pytest.approx(0.1 * 111_132, rel=0.01)
    placed = with_place(Set(2, "home", "here"), ride)
    assert isinstance(placed, Set)
    assert placed.value == pytest.approx((45.0, -30.0))
    done(Set(2, "home", "here"), ride)
    assert seen(ride)["home"]["distance_m"] < 1.0


def test_here_is_refused_while_the_position_is_unknown() -> None:
    ride = ridden(seconds=0)
    before = seen(ride)
    assert apply_command(Set(1, "home", "here"), ride, never) == Refusal(
        RefusalCode.NOT_KNOWN, key="position_deg", reason="not_heard"
    )
    assert isinstance(with_place(Set(1, "home", "here"), ride), Refused)
    assert {**seen(ride), "seq": 0} == {**before, "seq": 0}


def test_the_reserve_and_a_full_battery_change_the_energy_left() -> None:
    ride = ridden()
    before = seen(ride)["battery"]["left_fraction"]["value"]
    done(Set(1, "reserve_fraction", 0.5), ride)
    assert seen(ride)["battery"]["left_fraction"]["value"] == pytest.approx(before - 0.3, abs=0.01)
    drawn = seen(ride)["battery"]["left_fraction"]["value"]
    done(Mark(2, "charged_full"), ride)
    assert seen(ride)["battery"]["left_fraction"]["value"] > drawn


def test_commands_that_need_a_battery_are_refused_without_one() -> None:
    ride = ridden(Profile())
    no_battery = Refusal(RefusalCode.NOT_KNOWN, key="battery", reason="no_battery")
    assert apply_command(Set(1, "reserve_fraction", 0.5), ride, never) == no_battery
    assert apply_command(Mark(1, "charged_full"), ride, never) == no_battery


@pytest.mark.parametrize("amount", [None, ("left_fraction", 0.5), ("charged_ah", 8.0)])
def test_a_charge_can_be_stated_before_any_data(amount: Amount | None) -> None:
    mark = Mark(1, "charged" if amount else "charged_full", amount=amount)
    kept = json.loads(json.dumps(ridden(seconds=700).saved_state()))
    before, carried = (Ride(PROFILE, saved=kept) for _ in range(2))
    done(mark, before)
    live = {one: seen(one)["battery"]["left_fraction"] for one in (before, carried)}
    live_ride, scanner, sender = Ride(PROFILE, saved=kept), LinkScanner(), Sender()
    done(mark, live_ride)
    for n in range(30):
        frames = sender.second(20 + n, 50.0, 6.0, 1.8)
        live_ride.take(scanner.push([(START_US + n * 1_000_000, b"".join(frames))]))
    left = seen(live_ride)["battery"]["left_fraction"]["value"]
    expected = {None: 0.8, "left_fraction": 0.5 - 0.2}.get(amount and amount[0])
    assert live == dict.fromkeys(live)  # unknown: no battery is seen
    if expected is not None:
        assert left == pytest.approx(expected, abs=0.05)
    assert "charge_unsaid" not in [alert["code"] for alert in seen(live_ride)["alerts"]]


def test_a_run_counts_from_its_start_and_notes_change_nothing() -> None:
    ride = ridden()
    before = seen(ride)
    done(Mark(1, "note", "wind from the west"), ride)
    done(Mark(2, "run_end"), ride)
    assert {**seen(ride), "seq": 0} == {**before, "seq": 0}
    assert before["wh_per_km"]["why"]["since_mark"]["code"] == "no_mark"
    done(Mark(3, "run_start"), ride)
    assert seen(ride)["wh_per_km"]["why"]["since_mark"]["code"] != "no_mark"


@pytest.mark.parametrize("why", [None, Refusal(RefusalCode.CARD_BEHIND)])
def test_a_new_trip_is_left_to_the_service(why: str | None) -> None:
    assert apply_command(Mark(1, "new_trip"), ridden(seconds=0), lambda: why) == why


def test_set_up_and_reserve_stay_in_force_on_the_next_trip() -> None:
    ride = ridden()
    assert settings_in_force(ride, PROFILE) == []
    done(Set(1, "setup", "big propeller"), ride)
    done(Set(2, "reserve_fraction", 0.3), ride)
    done(Set(3, "target_speed_mps", 2.0), ride)
    carried = settings_in_force(ride, PROFILE)
    assert carried == [Set(0, "setup", "big propeller"), Set(0, "reserve_fraction", 0.3)]
    fresh = ridden(seconds=0)
    for command in carried:
        done(command, fresh)
    assert settings_in_force(fresh, PROFILE) == carried
    assert settings_in_force(ridden(Profile(), 0), Profile()) == []


RIDE = ridden()


@settings(max_examples=200)
@given(
    st.sampled_from(["target_distance_m", "target_speed_mps", "target_power_w", "home", "setup"])
    | st.just("reserve_fraction"),
    st.none() | st.floats(allow_nan=False, allow_infinity=False) | st.integers(0, 2**70)
    | st.just("here") | st.lists(st.floats(-180, 180), min_size=2, max_size=2)
    | st.text(max_size=40),
)  # fmt: skip
def test_accepted_commands_leave_a_snapshot_valid_in_json(key: str, value: Any) -> None:
    line = json.dumps({"kind": "set", "id": 1, "key": key, "value": value}).encode()
    command = parse_command(line)
    if isinstance(command, Refused):
        return
    done(command, RIDE)
    snapshot = seen(RIDE)
    assert snapshot["trip"]["energy_wh"]["value"] > 0


def test_a_source_never_seen_cannot_be_unplugged() -> None:
    assert (
        apply_command(Mark(1, "unplugged", source="battery 9"), ridden(seconds=0), never)
        is not None
    )
