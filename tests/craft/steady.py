"""The craft's true speed-power curve: battery power at a steady speed through calm water."""

from tests.craft.craft import Craft
from tests.craft.hull import resistance_n
from tests.craft.motor import shaft_point
from tests.craft.water import Water


def calm_power_w(craft: Craft, water: Water, speed_mps: float, more_n: float = 0.0) -> float:
    """Return the battery power at which thrust and resistance balance, without wind or waves.

    Air drag of the craft's own motion is left out too, unless it is given as `more_n`, a force
    against the motion.
    """
    advance_mps = speed_mps * (1.0 - craft.propeller.wake_fraction)
    goal_n = resistance_n(craft.hull, speed_mps, water.density_kgpm3, water.viscosity_m2ps) + more_n
    low_w, high_w = 1.0, 20_000.0
    for _ in range(60):
        middle_w = 0.5 * (low_w + high_w)
        shaft = shaft_point(
            craft.motor,
            craft.propeller,
            middle_w,
            advance_mps,
            density_kgpm3=water.density_kgpm3,
            guess_turns_per_s=1.0,
        )
        thrust_n = shaft.thrust_n if shaft else 0.0
        if thrust_n * (1.0 - craft.propeller.thrust_deduction_fraction) < goal_n:
            low_w = middle_w
        else:
            high_w = middle_w
    return high_w + craft.hotel_w
