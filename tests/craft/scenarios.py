"""Named scenarios: an invented craft, an invented place at sea, and a plan."""

from dataclasses import dataclass, field

from tests.craft.craft import Ride
from tests.craft.crafts import BOARD, SKIFF
from tests.craft.mavlink_stream import RATES_HZ, StreamOptions
from tests.craft.rider import Leg, Rider, Steer
from tests.craft.sensors import Sensors
from tests.craft.water import Water

HARBOUR_WATER = Water(
    set_deg=20.0,
    drift_mps=0.22,
    drift_sd_mps=0.03,
    wind_from_deg=255.0,
    wind_mps=3.5,
    gust_sd_mps=0.9,
    wave_speed_mps=0.05,
)


LEAN_RATES_HZ = {**RATES_HZ, "ATTITUDE": 1.0, "VFR_HUD": 1.0, "ESC_TELEMETRY_1_TO_4": 1.0}
"""Keeps logs in the repository small."""


@dataclass(frozen=True)
class Scenario:
    """A ride with its sensors and its stream."""

    name: str
    about: str
    ride: Ride
    seed: int
    start_unix_s: float
    sensors: Sensors = field(default_factory=Sensors)
    options: StreamOptions = field(default_factory=StreamOptions)


def _fast(duration_s: float, course_deg: float = 0.0) -> Leg:
    return Leg("made fast", duration_s, course_deg, ramp_s=1.0, steer=Steer.MADE_FAST)


HARBOUR_LOOP = Scenario(
    "harbour_loop",
    "a skiff leaves its mooring, cruises, pushes, turns and comes home into a mild water current",
    Ride(
        SKIFF,
        HARBOUR_WATER,
        Rider(max_power_w=1500.0, arrival_m=35.0),
        (
            _fast(20.0, 10.0),
            Leg("ease out", 45.0, 10.0, speed_mps=1.2, ramp_s=6.0),
            Leg("cruise", 165.0, 30.0, speed_mps=2.2),
            Leg("push", 85.0, 45.0, speed_mps=3.0),
            Leg("turn", 45.0, 290.0, speed_mps=2.0),
            Leg("home", 420.0, power_w=400.0, steer=Steer.HOME),
            Leg("ease in", 14.0, 205.0, power_w=90.0),
            Leg("stop", 10.0, 205.0, power_w=0.0, ramp_s=2.0),
            _fast(15.0, 205.0),
        ),
        45.0312,
        -30.0187,
    ),
    seed=7,
    start_unix_s=1_749_893_400.0,
    sensors=Sensors(current_scale=1.015, current_offset_a=0.04, voltage_scale=0.998),
    options=StreamOptions(
        rates_hz=LEAN_RATES_HZ, texts=((1.0, "Ready"), (372.0, "Steering by hand"))
    ),
)

LONG_CRUISE = Scenario(
    "long_cruise",
    "the skiff for an hour, to and fro at several speeds and at a held power",
    Ride(
        SKIFF,
        HARBOUR_WATER,
        Rider(max_power_w=1500.0, arrival_m=35.0),
        (
            _fast(30.0, 90.0),
            Leg("ease out", 60.0, 90.0, speed_mps=1.4, ramp_s=6.0),
            Leg("cruise east", 600.0, 90.0, speed_mps=2.2),
            Leg("cruise west", 600.0, 270.0, speed_mps=2.2),
            Leg("slow north", 500.0, 0.0, speed_mps=1.6),
            Leg("hold power south", 500.0, 180.0, power_w=350.0),
            Leg("quick east", 300.0, 90.0, speed_mps=2.6),
            Leg("quick west", 300.0, 270.0, speed_mps=2.6),
            Leg("hold power north", 340.0, 0.0, power_w=250.0),
            Leg("hold power south", 340.0, 180.0, power_w=250.0),
            Leg("stop", 15.0, 180.0, power_w=0.0),
            _fast(15.0, 180.0),
        ),
        45.0312,
        -30.0187,
    ),
    seed=11,
    start_unix_s=1_749_980_700.0,
    sensors=Sensors(current_scale=0.985, current_offset_a=-0.02, voltage_scale=1.003),
)

AT_ANCHOR = Scenario(
    "at_anchor",
    "the skiff at anchor for five minutes, nose to the water current, drive off",
    Ride(
        SKIFF, HARBOUR_WATER, Rider(max_power_w=1500.0), (_fast(300.0, 200.0),), 45.0297, -30.0143
    ),
    seed=3,
    start_unix_s=1_750_057_200.0,
    sensors=Sensors(current_scale=1.01, current_offset_a=-0.03, voltage_scale=1.001),
    options=StreamOptions(rates_hz=LEAN_RATES_HZ, texts=((2.0, "Ready"),)),
)

BOARD_SPRINTS = Scenario(
    "board_sprints",
    "a powered board sprints; MAVLink 1, a ground station and a second craft on the link",
    Ride(
        BOARD,
        Water(
            set_deg=140.0,
            drift_mps=0.12,
            drift_sd_mps=0.02,
            wind_from_deg=310.0,
            wind_mps=2.5,
            gust_sd_mps=0.7,
            wave_speed_mps=0.07,
            wave_periods_s=(2.0, 3.5),
        ),
        Rider(max_power_w=1400.0, turn_degps=20.0, arrival_m=20.0),
        (
            _fast(12.0, 60.0),
            Leg("ease out", 25.0, 60.0, power_w=120.0),
            Leg("sprint out", 30.0, 60.0, power_w=900.0, ramp_s=2.0),
            Leg("easy", 25.0, 60.0, power_w=140.0, ramp_s=1.5),
            Leg("sprint back", 40.0, 240.0, power_w=900.0, ramp_s=2.0),
            Leg("easy", 25.0, 240.0, power_w=140.0, ramp_s=1.5),
            Leg("sprint out", 30.0, 60.0, power_w=1250.0, ramp_s=2.0),
            Leg("easy", 20.0, 60.0, power_w=140.0, ramp_s=1.5),
            Leg("home", 80.0, power_w=260.0, steer=Steer.HOME),
            Leg("stop", 10.0, 240.0, power_w=0.0, ramp_s=1.0),
            _fast(10.0, 240.0),
        ),
        45.0305,
        -30.0152,
    ),
    seed=5,
    start_unix_s=1_750_149_000.0,
    sensors=Sensors(current_scale=0.98, current_offset_a=0.05, voltage_scale=1.004),
    options=StreamOptions(
        mavlink_version=1,
        rates_hz={
            "HEARTBEAT": 1.0,
            "SYSTEM_TIME": 1.0,
            "SYS_STATUS": 4.0,
            "BATTERY_STATUS": 1.0,
            "GPS_RAW_INT": 5.0,
            "GLOBAL_POSITION_INT": 5.0,
            "ATTITUDE": 1.0,
            "VFR_HUD": 1.0,
            "RPM": 2.0,
        },
        boot_s=17.0,
        first_fix_s=4.0,
        cell_voltages=False,
        texts=((4.1, "GPS fix"), (37.2, "High load")),
        ground_station=True,
        companion="at_anchor",
    ),
)

SCENARIOS = {
    scenario.name: scenario for scenario in (HARBOUR_LOOP, LONG_CRUISE, AT_ANCHOR, BOARD_SPRINTS)
}
