"""Facts in, findings out: a table of cases for each check."""

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from onboard.ashore.board_checks import (
    check_clock,
    check_disk,
    check_feed,
    check_pairing,
    check_profile,
)
from onboard.ashore.facts import (
    AutopilotFacts,
    ClockFacts,
    DiskFacts,
    FeedFacts,
    FixFacts,
    LinkFacts,
    PairingFacts,
    Port,
    PowerFacts,
)
from onboard.ashore.findings import CheckVerdict
from onboard.ashore.link_checks import check_autopilot, check_link
from onboard.ashore.sensor_checks import charge_range, check_current, check_fix, check_voltage
from onboard.profile import Battery, Profile, Sensors

DATA = Path(__file__).parents[2] / "data"
OK, LOOK, BAD = CheckVerdict.OK, CheckVerdict.LOOK, CheckVerdict.BAD

LINK = LinkFacts("udpin:0.0.0.0:14550", 10.0, None, 20_000, 400)


@pytest.mark.parametrize(
    ("changes", "verdict", "words"),
    [
        ({}, OK, "40 messages a second, 2.0 kB/s, 0.0 % bad bytes, 0.0 % lost"),
        ({"problem": "/dev/x: no such serial device"}, BAD, "/dev/x: no such serial device"),
        ({"received_bytes": 0, "messages": 0}, BAD, "nothing came in 10 s. Is the autopilot on"),
        ({"received_bytes": 0, "messages": 0, "baud": 57600}, BAD, "TX on this board's RX"),
        ({"messages": 0, "baud": 57600}, BAD, "no MAVLink message"),
        ({"messages": 0, "baud": 57600}, BAD, "--baud (57600 now)"),
        # A frame cut by the start of listening is not a fault.
        ({"bad_bytes": 280}, OK, "0.0 % bad"),
        ({"bad_bytes": 280 + 400}, LOOK, "2.0 % bad"),
        ({"bad_bytes": 280 + 4000}, BAD, "20.0 % bad"),
        ({"lost": 100}, LOOK, "20.0 % lost"),
        ({"messages": 40}, LOOK, "stream rates"),
        ({"received_bytes": None, "asked_daemon": True}, OK, "by the daemon that runs"),
        ({"received_bytes": None, "messages": 0, "asked_daemon": True}, BAD, "nothing came"),
    ],
)
def test_link(changes: dict, verdict: CheckVerdict, words: str) -> None:
    finding = check_link(replace(LINK, **changes))
    assert (finding.name, finding.verdict) == ("link", verdict)
    assert words in finding.text


@pytest.mark.parametrize(
    ("facts", "messages", "verdict", "words"),
    [
        (AutopilotFacts(3, None, (), False), 9, OK, "system 3, disarmed"),
        (AutopilotFacts(3), 9, OK, "system 3"),
        (AutopilotFacts(3, None, (), True), 9, LOOK, "ARMED. Disarm"),
        (AutopilotFacts(3, None, (7,), False), 9, LOOK, "heard too: 7. Choose with --system-id"),
        (AutopilotFacts(3, None, (7,), True), 9, LOOK, "ARMED; heard too: 7. Disarm"),
        (AutopilotFacts(3, 3, (7, 9), False), 9, OK, "heard too: 7, 9"),
        (AutopilotFacts(None, 3, (7, 9)), 9, BAD, "system 3 is not heard, but 7 and 9 is"),
        (AutopilotFacts(), 9, BAD, "HEARTBEAT"),
        (AutopilotFacts(), 0, LOOK, "not checked"),
    ],
)
def test_autopilot(facts: AutopilotFacts, messages: int, verdict: CheckVerdict, words: str) -> None:
    finding = check_autopilot(facts, messages)
    assert finding.verdict is verdict
    assert words in finding.text


FIX = FixFacts(True, 3.0, 12.0, 0.9, True, (0.02,) * 19 + (5.0,))


@pytest.mark.parametrize(
    ("changes", "verdict", "words"),
    [
        # One wild speed among twenty is ignored.
        ({}, OK, "3D, 12 satellites, position to 0.9 m, speed at rest up to 0.02 m/s"),
        ({"fix": None}, BAD, "GPS_RAW_INT"),
        ({"fix": 0.0, "satellites": 2.0}, BAD, "no fix, 2 satellites. Give it open sky"),
        ({"speeds_mps": (), "why_no_speed": "nothing for 9 s"}, BAD, "no speed (nothing for 9 s)"),
        ({"fix": 2.0}, LOOK, "2D"),
        ({"satellites": 5.0}, LOOK, "few satellites"),
        ({"satellites": None}, OK, "3D, position"),
        ({"speeds_mps": (0.1, 0.4, 0.5)}, LOOK, "up to 0.50 m/s: moving"),
        # From a daemon, whose snapshots lack the receiver's state.
        ({"received": False, "fix": None, "satellites": None}, OK, "position known"),
    ],
)
def test_fix(changes: dict, verdict: CheckVerdict, words: str) -> None:
    finding = check_fix(replace(FIX, **changes), True)
    assert finding.verdict is verdict
    assert words in finding.text


@pytest.mark.parametrize(
    ("amps_a", "sensors", "verdict", "words"),
    [
        ((0.02, 0.04), Sensors(), OK, "0.03 A at rest, 2 W"),
        ((0.2, 0.2), Sensors(), OK, "If a meter says 0: sensors.current_offset_a = -0.2"),
        ((0.6, 0.6), Sensors(), LOOK, "30 W: much for electronics alone"),
        ((2.0,), Sensors(), LOOK, "100 W: something is on"),
        ((-0.4, -0.2), Sensors(), LOOK, "below zero"),
        # The reading is already corrected: the advice adds to the offset in the profile.
        ((-0.4, -0.2), Sensors(current_offset_a=0.1), LOOK, "current_offset_a = 0.4."),
        ((0.0, 0.0), Sensors(), OK, "exactly: a sensor that stops at zero"),
        ((), Sensors(), BAD, "no current (the autopilot says unknown)"),
    ],
)
def test_current(amps_a: tuple, sensors: Sensors, verdict: CheckVerdict, words: str) -> None:
    facts = PowerFacts(amps_a, (50.0,), why_no_amps="the autopilot says unknown")
    finding = check_current(facts, sensors, True)
    assert finding.verdict is verdict
    assert words in finding.text


def test_the_advised_offset_makes_the_reading_zero() -> None:
    sensors = Sensors(current_scale=1.02, current_offset_a=0.1)
    reported_a = 0.7
    corrected_a = sensors.current_scale * reported_a + sensors.current_offset_a
    text = check_current(PowerFacts((corrected_a,), (50.0,)), sensors, True).text
    advised_a = float(text.rpartition("= ")[2])
    assert sensors.current_scale * reported_a + advised_a == pytest.approx(0.0, abs=5e-4)


def pack(chemistry: str, cells: int, **more) -> Battery:
    return Battery(chemistry, cells, capacity_ah=20.0, **more)


# Limits of a cell, common for such cells, no standard: Li-ion 3.0 to 4.2 V, LFP 2.5 to 3.65 V.
@pytest.mark.parametrize(
    ("volts_v", "battery", "verdict", "words"),
    [
        (58.6, pack("li-ion", 14), OK, "58.6 V, 4.19 V a cell of 14"),
        (58.8 * 1.009, pack("li-ion", 14), OK, "100 % charged"),
        (
            58.8 * 1.011,
            pack("li-ion", 14),
            BAD,
            "above full, 58.8 V. Check battery.cells (15 to 19",
        ),
        (42.0 * 0.985, pack("li-ion", 14), BAD, "below cut-off, 42.0 V. Charge, or check"),
        (
            50.4,
            pack("li-ion", 14),
            LOOK,
            "below the 100 % that a first ride begins with: charge, or say",
        ),
        (50.4, pack("li-ion", 14, start_fraction=0.4), OK, "% charged"),
        (48.0, pack("li-ion", 14, cutoff_v=49.0), BAD, "below cut-off, 49.0 V"),
        (26.2, pack("lfp", 8), OK, "3.27 V a cell of 8"),
        (29.2 * 1.02, pack("lfp", 8), BAD, "battery.cells (9 to 11 cells fit)"),
        (5.0, pack("lfp", 8), BAD, "battery.cells (2 cells fit)"),
        (1.0, pack("li-ion", 8), BAD, "no count of cells fits"),
        (51.0, None, OK, "51.0 V; compare with a meter"),
        (None, pack("lfp", 8), BAD, "no voltage (not heard yet)"),
    ],
)
def test_voltage(volts_v, battery, verdict: CheckVerdict, words: str) -> None:
    facts = PowerFacts((), () if volts_v is None else (volts_v,))
    finding = check_voltage(facts, battery, Sensors(), True)
    assert finding.verdict is verdict, finding
    assert words in finding.text


@pytest.mark.parametrize(
    ("curve", "chemistry"),
    [("Chen2020", "li-ion"), ("Mohtat2020", "li-ion"), ("Ai2020", "li-ion"), ("Prada2013", "lfp")],
)
def test_the_charge_of_published_cells_lies_in_the_range(curve: str, chemistry: str) -> None:
    """Open-circuit curves as PyBaMM 26.10 gives them (tests/data/README.md).

    The engine's own table is made from the same cells: this checks the result against them.
    """
    with (DATA / "pybamm_ocv_soc.csv").open(encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["parameter_set"] == curve]
    assert len(rows) == 21
    inside = []
    for row in rows:
        low, high = charge_range(chemistry, float(row["ocv_V"]), 0.005)
        inside.append(low - 0.02 <= float(row["soc"]) <= high + 0.02)
    assert np.mean(inside) >= 0.95


def test_the_flat_lfp_curve_is_less_informative_than_li_ion() -> None:
    low, high = charge_range("lfp", 3.27, 0.005)
    assert high - low > 0.4
    low, high = charge_range("li-ion", 3.9, 0.005)
    assert 0.5 < low < 0.7 < high < 0.9


def test_instruments_are_not_checked_without_an_autopilot() -> None:
    findings = [
        check_fix(FIX, False),
        check_current(PowerFacts(), Sensors(), False),
        check_voltage(PowerFacts(), None, Sensors(), False),
        check_clock(ClockFacts(1.8e9), False),
    ]
    assert all(one.verdict is LOOK and "not checked" in one.text for one in findings)


NOW_S = 1_764_063_600.0  # 2025-11-25T09:40:00Z


@pytest.mark.parametrize(
    ("board_s", "autopilot_s", "verdict", "words"),
    [
        (NOW_S + 5, NOW_S, OK, "agree: 2025-11-25 09:40:00 UTC"),
        (NOW_S + 3 * 3600, NOW_S, LOOK, "3 hours ahead of the autopilot's"),
        (NOW_S - 300, NOW_S, LOOK, "5 minutes behind"),
        (NOW_S - 70, NOW_S, LOOK, "70 seconds behind"),
        (86_400.0, NOW_S, LOOK, "It was never set."),
        (NOW_S, None, LOOK, "not set (it comes with a fix); the board says 2025-11-25 09:40:00"),
    ],
)
def test_clock(
    board_s: float, autopilot_s: float | None, verdict: CheckVerdict, words: str
) -> None:
    finding = check_clock(ClockFacts(board_s, autopilot_s), True)
    assert finding.verdict is verdict
    assert words in finding.text


@pytest.mark.parametrize(
    ("facts", "verdict", "words"),
    [
        (DiskFacts(Path("/r"), True, 7_200_000_000, None, 1000.0), OK, "over 1000 hours"),
        (DiskFacts(Path("/r"), True, 360_000_000, None, 1000.0), OK, "100 hours at 1.0 kB/s"),
        (DiskFacts(Path("/r"), True, 36_000_000, None, 1000.0), LOOK, "10 hours"),
        (DiskFacts(Path("/r"), True, 3_600_000, None, 1000.0), BAD, "1.0 hours"),
        (DiskFacts(Path("/r"), True, 2_000_000_000), OK, "2.0 GB free in /r"),
        (DiskFacts(Path("/r"), True, 500_000_000), LOOK, "soon"),
        (DiskFacts(Path("/r"), True, 5_000_000), BAD, "Move"),
        (DiskFacts(Path("/r"), False, 5_000_000_000), BAD, "cannot be written"),
        (DiskFacts(Path("/r"), problem="/r is no folder"), BAD, "/r is no folder"),
        (DiskFacts(), LOOK, "no record"),
    ],
)
def test_disk(facts: DiskFacts, verdict: CheckVerdict, words: str) -> None:
    finding = check_disk(facts)
    assert finding.verdict is verdict
    assert words in finding.text


@pytest.mark.parametrize(
    ("facts", "verdict", "words"),
    [
        (FeedFacts("127.0.0.1", 27220), OK, "127.0.0.1:27220 is free"),
        (FeedFacts("localhost", 27220), OK, "free"),
        (FeedFacts("127.0.0.1", 1, Port.OURS, "skiff"), OK, "the daemon runs, and serves skiff"),
        (FeedFacts("127.0.0.1", 1, Port.OTHER), BAD, "used by something else"),
        (FeedFacts("192.0.2.1", 1, Port.REFUSED, None, "not here"), BAD, "(not here)"),
    ],
)
def test_feed(facts: FeedFacts, verdict: CheckVerdict, words: str) -> None:
    finding = check_feed(facts)
    assert finding.verdict is verdict
    assert words in finding.text


def test_profile() -> None:
    assert check_profile(Profile(), None).verdict is LOOK
    assert "no [battery]" in check_profile(Profile(), "craft.toml").text
    full = check_profile(Profile(battery=pack("li-ion", 14)), "craft.toml")
    assert full.verdict is OK
    assert "li-ion, 14 cells, 1028 Wh, 20 % reserve" in full.text


@pytest.mark.parametrize(
    ("facts", "verdict", "words"),
    [
        (PairingFacts(), OK, "for this board only"),
        (PairingFacts(True, "0.0.0.0:27222"), OK, "may come in: nobody"),
        (PairingFacts(True, "0.0.0.0:27222", ("phone (crew)",)), OK, "phone (crew)"),
        (PairingFacts(True, "x:1", tuple(f"n{n} (crew)" for n in range(9))), OK, "and 3 more"),
        (PairingFacts(True, None, ("phone (crew)",)), LOOK, "crew_listen is off"),
        (PairingFacts(True, "x:1", (), ("/r/identity.pem",)), BAD, "chmod go= /r/identity.pem"),
        (PairingFacts(True, "x:1", (), (), "/r/crew.json: cannot be used"), BAD, "cannot be used"),
    ],
)
def test_pairing(facts: PairingFacts, verdict: CheckVerdict, words: str) -> None:
    finding = check_pairing(facts)
    assert (finding.name, finding.verdict) == ("pairing", verdict)
    assert words in finding.text
