"""The rows of chemistries: curves against published cells, and their use in the program."""

import numpy as np
import pytest
from scipy.integrate import cumulative_trapezoid

from onboard.ashore.facts import PowerFacts
from onboard.ashore.findings import CheckVerdict
from onboard.ashore.sensor_checks import check_voltage
from onboard.chemistry import CHEMISTRIES, Chemistry
from onboard.efficiency.battery.ocv_curve import OCV_CURVES
from onboard.efficiency.battery.pack import Pack
from onboard.efficiency.battery.round_trip import pack_loss
from onboard.errors import ProfileError
from onboard.profile import Sensors, parse_profile
from tests.onboard.efficiency.battery.made_packs import AT, published


def test_the_spread_is_that_of_the_published_cells() -> None:
    # Sample standard deviation of the three that end at 4.2 V, and no less than 8 mV.
    three = np.array([published()[name] for name in ("Chen2020", "Mohtat2020", "Ai2020")])
    li_ion = OCV_CURVES["li-ion"]
    spread = np.maximum(three.std(axis=0, ddof=1), 0.008)
    assert np.interp(AT, li_ion.fraction, li_ion.sd_v) == pytest.approx(spread, abs=1e-3)
    lfp = OCV_CURVES["lfp"]
    assert np.min(lfp.sd_v) >= 0.010


@pytest.mark.parametrize("chemistry", ["li-ion", "lfp"])
def test_energy_is_the_integral_of_the_table(chemistry: str) -> None:
    table = OCV_CURVES[chemistry]
    energy = cumulative_trapezoid(table.ocv_v, table.fraction, initial=0.0)
    assert table.energy_fraction() == pytest.approx(energy / energy[-1], abs=1e-12)
    assert table.mean_v == pytest.approx(energy[-1], rel=1e-12)
    for share in (0.0, 0.2, 0.77, 1.0):
        back = np.interp(table.at_energy(share), table.fraction, table.energy_fraction())
        assert back == pytest.approx(share, abs=1e-12)


@pytest.mark.parametrize(("name", "chemistry"), [("Chen2020", "li-ion"), ("Prada2013", "lfp")])
def test_a_slow_discharge_loses_little_below_the_open_circuit(name, chemistry) -> None:
    # PyBaMM at C/20: mean 3.709 V (Chen 2020) and 3.189 V (Prada 2013). The open circuit lies above
    # by the sag of so small a current, under 40 mV, give or take how far cells lie about the table.
    mean_v = {"Chen2020": 3.708665, "Prada2013": 3.18941}[name]
    table = OCV_CURVES[chemistry]
    spread = float(np.trapezoid(table.sd_v, table.fraction))
    assert mean_v - 2 * spread < table.mean_v < mean_v + 0.04 + 2 * spread


@pytest.mark.parametrize("row", CHEMISTRIES.values(), ids=lambda row: row.name)
def test_every_row_works_for_all_its_users(row: Chemistry) -> None:
    stated = f"[battery]\nchemistry = '{row.name}'\ncells = 10\ncapacity_ah = 20.0"
    battery = parse_profile(stated).battery
    assert battery is not None
    assert battery.full_wh == pytest.approx(20.0 * 10 * row.nominal_v)
    pack = Pack(battery, Sensors())
    assert pack.cutoff_v == pytest.approx(10 * row.cutoff_v)
    assert 0.0 < pack.left_wh(100.0) < pack.full.value
    assert 0.0 < pack_loss(row.name).fraction < 0.2
    facts = PowerFacts(volts_v=(10 * row.full_v,))
    assert check_voltage(facts, battery, Sensors(), True).verdict is CheckVerdict.OK
    for wrong_v in (1.1 * row.full_v, 0.9 * row.cutoff_v):
        facts = PowerFacts(volts_v=(10 * wrong_v,))
        assert check_voltage(facts, battery, Sensors(), True).verdict is CheckVerdict.BAD


def test_the_profile_allows_the_rows_and_no_others() -> None:
    with pytest.raises(ProfileError, match=" or ".join(f'"{name}"' for name in CHEMISTRIES)):
        parse_profile("[battery]\nchemistry = 'lead'\ncells = 6\ncapacity_ah = 20.0")
