"""Content of the craft view: each instrument with its status."""

from typing import Any

import pytest

from groundside.dashboard.content.craft import craft_blocks, silent_source
from groundside.words.units import CHOICES
from onboard.contract.alerts import Alert, AlertCode
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from tests.groundside.dashboard.steered_app import replayed, snapshot, state, waiting
from tests.made_snapshot import around, changed, made_snapshot

QUIET = Unknown(Reason.QUIET, age_s=7.0)
NO_BATTERY = Unknown(Reason.NO_BATTERY)


def checks(changes: dict[str, Any], **more: Any) -> dict[str, tuple[str, str]]:
    """Return state and text of each instrument by its name."""
    _, instruments = craft_blocks(state(made_snapshot(**changes), **more))
    found = {}
    for item in instruments:
        name, _, text = item.text.partition(": ")
        found[name] = (item.name, text)
        assert item.strong is (item.name == "LOOK")
    return found


@pytest.mark.parametrize(
    ("name", "changes", "state", "text"),
    [
        ("data", {}, "ok", "0.1 s old"),
        ("data", {"link__age_s": QUIET}, "--", "age not known"),
        ("data", {"link__age_s": 6.0}, "LOOK", "6 s old"),
        ("link", {}, "ok", "udpin:0.0.0.0:14550, 31 messages/s, none lost"),
        (
            "link",
            {"link__messages": 95, "link__lost": 5, "link__bad_bytes": 3},
            "ok",
            "udpin:0.0.0.0:14550, 31 messages/s, 5 % lost, 3 bad bytes",
        ),
        (
            "link",
            {"link__messages": 94, "link__lost": 6},
            "LOOK",
            "udpin:0.0.0.0:14550, 31 messages/s, 6 % lost",
        ),
        (
            "link",
            {"link__messages_per_s": Unknown(Reason.COUNTING), "link__messages": 0},
            "--",
            "udpin:0.0.0.0:14550, still counting",
        ),
        ("position", {}, "ok", "45.01000 N, 30.02000 W"),
        ("position", {"position_deg": (-45.0, 30.0)}, "ok", "45.00000 S, 30.00000 E"),
        ("position", {"position_deg": QUIET}, "--", "nothing for 7 s"),
        ("speed", {}, "ok", "8.0 km/h"),
        ("speed", {"speed_mps": Unknown(Reason.NO_FIX)}, "--", "no GPS fix"),
        ("course", {}, "ok", "made good 083 deg, heading 080 deg"),
        ("course", {"course_deg": 359.7}, "ok", "made good 000 deg, heading 080 deg"),
        (
            "course",
            {"heading_deg": QUIET},
            "ok",
            "made good 083 deg, heading not known (nothing for 7 s)",
        ),
        ("course", {"heading_deg": QUIET, "course_deg": QUIET}, "--", "nothing for 7 s"),
        ("battery", {"amps_a": 8.06}, "ok", "51.2 V, 8.1 A, 412 W"),
        ("battery", {"power_w": QUIET, "amps_a": 8.06}, "ok", "51.2 V, 8.1 A"),
        ("battery", {"volts_v": QUIET}, "--", "nothing for 7 s"),
        ("battery", {"amps_a": QUIET}, "--", "nothing for 7 s"),
        ("resistance", {}, "ok", "50 (40 to 60) mohm"),
        ("resistance", {"battery": NO_BATTERY}, "--", "no [battery] in the craft profile"),
        ("capacity", {}, "ok", "24.2 (23.1 to 25.3) Ah, by 4 rests"),
        ("capacity", {"battery__learned__rests": 1}, "ok", "24.2 (23.1 to 25.3) Ah, by 1 rest"),
        (
            "capacity",
            {"battery__learned__rests": 0},
            "ok",
            "24.2 (23.1 to 25.3) Ah, by the profile",
        ),
        ("capacity", {"battery": NO_BATTERY}, "--", "no [battery] in the craft profile"),
        ("energy left", {}, "ok", "usable 68 % (65 % to 71 %), reserve 20 %, charge 88 %"),
        (
            "energy left",
            {"reserve_fraction": QUIET},
            "ok",
            "usable 68 % (65 % to 71 %), charge 88 %",
        ),
        (
            "energy left",
            {"battery__left_fraction": around(0.19)},
            "LOOK",
            "usable 19 % (18 % to 20 %), reserve 20 %, charge 88 %",
        ),
        (
            "energy left",
            {"battery__left_fraction": QUIET},
            "--",
            "nothing for 7 s, reserve 20 %",
        ),
        ("energy left", {"battery": NO_BATTERY}, "--", "no [battery] in the craft profile"),
        ("motor drive", {}, "ok", "1810 rpm, 11 A motor current, 47 °C"),
        ("motor drive", {"drive__rpm": QUIET}, "ok", "11 A motor current, 47 °C"),
        ("motor drive", {"drive": Unknown(Reason.NO_DRIVE)}, "--", "no motor drive heard"),
        ("clock", {}, "ok", "2025-06-14 09:37:11 UTC"),
        (
            "clock",
            {"utc": QUIET},
            "--",
            "the receiver has not told the time; durations are right",
        ),
        ("gaps", {}, "ok", "bridged over: energy 0 %, distance 1 %"),
        (
            "gaps",
            {"trip__bridged_energy_fraction": 0.06},
            "LOOK",
            "bridged over: energy 6 %, distance 1 %",
        ),
        (
            "gaps",
            {"trip__bridged_energy_fraction": QUIET, "trip__bridged_distance_fraction": 0.06},
            "LOOK",
            "bridged over: distance 6 %",
        ),
        (
            "gaps",
            {"trip__bridged_energy_fraction": QUIET, "trip__bridged_distance_fraction": QUIET},
            "--",
            "the trip has not begun",
        ),
        ("water", {}, "ok", "sets 1.1 km/h towards W, sure to 0.1"),
        ("water", {"set_and_drift": QUIET}, "--", "nothing for 7 s"),
    ],
)
def test_an_instrument(name: str, changes: dict[str, Any], state: str, text: str) -> None:
    assert checks(changes)[name] == (state, text)


def test_a_drive_that_reports_nothing() -> None:
    silent = dict.fromkeys(("drive__rpm", "drive__motor_amps_a", "drive__temperature_degc"), QUIET)
    assert checks(silent)["motor drive"] == ("--", "nothing for 7 s")


def test_old_data_are_suspicious() -> None:
    assert checks({}, since_received_s=3.0)["data"] == ("LOOK", "3 s old")
    assert checks({}, units=CHOICES["kn"])["speed"] == ("ok", "4.3 kn")


def test_a_replay_has_no_rate_and_that_is_no_fault() -> None:
    changes = {"link__messages_per_s": Unknown(Reason.COUNTING), "link__source": "a.tlog"}
    assert checks(changes, replay=replayed())["link"] == ("ok", "a.tlog, none lost")


def test_the_worst_come_first() -> None:
    shown = made_snapshot(trip__bridged_energy_fraction=0.2, volts_v=QUIET)
    _, instruments = craft_blocks(state(shown))
    states = [item.name for item in instruments]
    assert states == ["LOOK", "--", *["ok"] * 11]


def test_alerts_come_first_in_the_riders_units() -> None:
    unmade = Alert(
        AlertCode.CANNOT_BE_MADE, 75.0, to_go_m=18_520.0, best_m=3704.0, best_speed_mps=2.0
    )
    alerts, _ = craft_blocks(state(snapshot(alerts=(unmade,)), units=CHOICES["kn"]))
    assert [item.text for item in alerts] == [
        "Target, 10.0 NM to go: in doubt at any speed tried. 2.0 NM is sure, at 3.9 kn."
        " (for 1 min 15 s)"
    ]
    none, _ = craft_blocks(state())
    assert [(item.name, item.text) for item in none] == [("alert", "none")]


def test_before_the_first_snapshot_nothing_is_known() -> None:
    _, instruments = craft_blocks(waiting())
    assert [item.text for item in instruments] == ["link: nothing heard yet"]


@pytest.mark.parametrize(
    ("code", "sources", "first"),
    [
        (AlertCode.SOURCE_SILENT, ("battery 1", "motor 0"), "battery 1"),
        (AlertCode.SOURCE_SILENT, None, ""),
        (AlertCode.SOURCE_UNPLUGGED, ("battery 1",), ""),
        (AlertCode.SOURCE_BRIEF, ("battery 1",), ""),
    ],
)
def test_which_source_can_be_marked_as_unplugged(code: AlertCode, sources: Any, first: str) -> None:
    alert = Alert(code, 3.0, sources=sources)
    other = Alert(AlertCode.IMPLAUSIBLE, 1.0)
    assert silent_source(changed(snapshot(), alerts=(other, alert))) == first
