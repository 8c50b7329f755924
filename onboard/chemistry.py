"""The cell chemistries: one row each, with all their data that the program uses.

To add a chemistry, add a row to `CHEMISTRIES`. A row without one of its fields does not load; the
profile accepts exactly these rows. The module imports nothing of this project, so that the profile,
which is above the efficiency rooms, can read it.

Sources
-------
Open-circuit voltage: PyBaMM 26.10 (`tests/data/pybamm_ocv_soc.csv`). Li-ion is the mean and
standard deviation of the published cells that end at 4.2 V (Chen 2020, Mohtat 2020, Ai 2020), LFP
is Prada 2013 with the potential of Afshar 2017. LFP at full is taken as 3.40 V instead of that
model's 3.60 V, which a rested cell does not sustain (common practice, no source); its spread is
hysteresis and differences between cells (from memory, no source).

Round trips: the same models at 25 degC (DFN, charged at constant current, then at constant voltage
down to C/20), measured at the cells' terminals. The models have no side reactions: they return all
charge, and lose energy by voltage alone.

Nominal voltage: simulated C/5 discharges, Prada 2013 3.17 V (3.2 V is printed on LFP cells) and
Chen 2020 (NMC) 3.67 V. Full and cut-off voltage: as printed on cells; common practice, no standard.
"""

from onboard.dataclass import dataclass


@dataclass(frozen=True)
class Chemistry:
    """One kind of cell.

    Parameters
    ----------
    name
        The profile's `battery.chemistry`.
    nominal_v
        Mean voltage of a cell over a slow discharge [V]; turns Ah into Wh.
    full_v
        Voltage of a cell on the charger when full [V]; a higher reading is implausible.
    cutoff_v
        Voltage of a cell under load to stop at, unless the profile states another [V].
    ocv_v, ocv_sd_v
        Open-circuit voltage of a cell and its standard deviation between cells [V], at state of
        charge 0 to 1 in equal steps.
    round_trip_fraction
        By published cell model: energy out over energy in, discharged and charged at 0.2 and 0.2,
        0.5 and 0.2, 0.5 and 0.5, 1 and 0.5, 1 and 1 of the capacity per hour.
    """

    name: str
    nominal_v: float
    full_v: float
    cutoff_v: float
    ocv_v: tuple[float, ...]
    ocv_sd_v: tuple[float, ...]
    round_trip_fraction: dict[str, tuple[float, ...]]


CHEMISTRIES = {
    row.name: row
    for row in (
        Chemistry(
            "lfp",
            nominal_v=3.2,
            full_v=3.65,
            cutoff_v=2.5,
            ocv_v=(
                2.000, 2.785, 2.978, 3.108, 3.168, 3.186, 3.206, 3.232, 3.252, 3.262, 3.266,
                3.268, 3.269, 3.270, 3.274, 3.293, 3.310, 3.313, 3.314, 3.316, 3.400,
            ),
            ocv_sd_v=(0.25, 0.12, 0.06, 0.04, 0.02, *([0.012] * 14), 0.015, 0.05),
            round_trip_fraction={"Prada 2013": (0.9734, 0.9595, 0.9491, 0.9339, 0.9223)},
        ),
        Chemistry(
            "li-ion",
            nominal_v=3.67,
            full_v=4.2,
            cutoff_v=3.0,
            ocv_v=(
                2.767, 3.371, 3.482, 3.546, 3.588, 3.622, 3.651, 3.677, 3.700, 3.724, 3.753,
                3.785, 3.825, 3.866, 3.912, 3.956, 4.002, 4.048, 4.087, 4.133, 4.200,
            ),
            ocv_sd_v=(
                0.252, 0.230, 0.174, 0.116, 0.105, 0.094, 0.077, 0.063, 0.054, 0.046, 0.039,
                0.036, 0.024, 0.025, 0.034, 0.036, 0.036, 0.030, 0.010, 0.008, 0.008,
            ),
            round_trip_fraction={
                "Chen 2020": (0.9684, 0.9486, 0.9303, 0.9029, 0.8828),
                "Mohtat 2020": (0.9907, 0.9845, 0.9786, 0.9694, 0.9611),
            },
        ),
    )
}  # fmt: skip
"""The rows by name."""
