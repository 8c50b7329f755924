"""The invented craft: a skiff, a powered board, a heavy launch and a small tender."""

from dataclasses import replace

from tests.craft.battery import Battery
from tests.craft.craft import Craft
from tests.craft.hull import Hull
from tests.craft.motor import Motor
from tests.craft.propeller import Propeller

SKIFF = Craft(
    Hull(
        length_waterline_m=3.8,
        wetted_area_m2=3.1,
        mass_kg=270.0,
        form_fraction=0.28,
        hump_fraction=0.042,
        hump_froude=0.55,
        rise_exponent=4.6,
        fall_exponent=1.2,
        windage_area_m2=0.75,
    ),
    Propeller(
        0.24,
        0.80,
        0.50,
        3,
        torque_excess_fraction=0.10,
        wake_fraction=0.06,
        thrust_deduction_fraction=0.06,
    ),
    Motor(kv_rpm_per_v=34.0, resistance_ohm=0.11, no_load_a=0.8, pole_pairs=10),
    Battery("li-ion", 14, 23.5, 0.055, 0.025, 40.0, start_fraction=0.93),
    hotel_w=14.0,
)
"""A 4 m skiff, two aboard, 14 lithium-ion cells in series, about 1.2 kWh."""

BOARD = Craft(
    Hull(
        length_waterline_m=3.1,
        wetted_area_m2=1.75,
        mass_kg=112.0,
        form_fraction=0.16,
        hump_fraction=0.060,
        hump_froude=0.58,
        rise_exponent=4.2,
        fall_exponent=1.4,
        windage_area_m2=0.55,
    ),
    Propeller(
        0.17,
        0.90,
        0.40,
        3,
        torque_excess_fraction=0.12,
        wake_fraction=0.03,
        thrust_deduction_fraction=0.04,
    ),
    Motor(330.0, 0.012, 2.2, 7, gear_ratio=3.0, gear_efficiency_fraction=0.95),
    Battery("lfp", 8, 35.0, 0.022, 0.010, 30.0, start_fraction=0.97),
    hotel_w=6.0,
)
"""A powered board, one aboard, 8 LFP cells in series, about 0.9 kWh."""

LAUNCH = Craft(
    Hull(
        length_waterline_m=3.4,
        wetted_area_m2=3.6,
        mass_kg=380.0,
        form_fraction=0.25,
        hump_fraction=0.085,
        hump_froude=0.50,
        rise_exponent=6.5,
        fall_exponent=None,
        windage_area_m2=0.9,
    ),
    Propeller(
        0.28,
        0.70,
        0.50,
        3,
        torque_excess_fraction=0.10,
        wake_fraction=0.08,
        thrust_deduction_fraction=0.08,
    ),
    Motor(kv_rpm_per_v=26.0, resistance_ohm=0.09, no_load_a=0.9, pole_pairs=10),
    Battery("li-ion", 14, 30.0, 0.045, 0.020, 45.0, start_fraction=0.95),
    hotel_w=18.0,
)
"""A heavy displacement launch at its limit: wave resistance rises ever more steeply."""

TENDER = Craft(
    Hull(
        length_waterline_m=2.3,
        wetted_area_m2=1.9,
        mass_kg=165.0,
        form_fraction=0.30,
        hump_fraction=0.060,
        hump_froude=0.52,
        rise_exponent=4.4,
        fall_exponent=0.9,
        windage_area_m2=0.5,
    ),
    Propeller(
        0.21,
        0.65,
        0.45,
        3,
        torque_excess_fraction=0.12,
        wake_fraction=0.05,
        thrust_deduction_fraction=0.06,
    ),
    Motor(kv_rpm_per_v=75.0, resistance_ohm=0.045, no_load_a=1.0, pole_pairs=7),
    Battery("lfp", 8, 25.0, 0.026, 0.012, 30.0, start_fraction=0.98),
    hotel_w=5.0,
)
"""A small tender, one aboard, 8 LFP cells in series, about 0.64 kWh."""


def cold_and_weak(battery: Battery) -> Battery:
    """Return a pack near freezing: more than twice the resistance, an eighth less charge.

    Common practice, no source: cells at 0 degC have about two to three times the resistance of
    25 degC, and deliver some 10 to 20 % less.
    """
    return replace(
        battery,
        capacity_ah=0.875 * battery.capacity_ah,
        resistance_ohm=2.3 * battery.resistance_ohm,
        slow_resistance_ohm=2.3 * battery.slow_resistance_ohm,
        temperature_degc=1.0,
    )


CRAFTS = {"skiff": SKIFF, "board": BOARD, "launch": LAUNCH, "tender": TENDER}
