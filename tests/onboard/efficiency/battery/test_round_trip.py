"""Round-trip losses against the simulations behind them, and others of the same cells."""

import pytest

from onboard.efficiency.battery.round_trip import cell_loss, pack_loss

RATES = ((0.2, 0.2), (0.5, 0.2), (0.5, 0.5), (1.0, 0.5), (1.0, 1.0))

# Energy out over energy in at RATES (discharge, charge), at the cell's terminals. PyBaMM 26.10,
# DFN model, 25 degC, constant current then constant voltage down to C/20: computed.
SIMULATED = {
    "Prada 2013": (0.9734, 0.9595, 0.9491, 0.9339, 0.9223),
    "Chen 2020": (0.9684, 0.9486, 0.9303, 0.9029, 0.8828),
    "Mohtat 2020": (0.9907, 0.9845, 0.9786, 0.9694, 0.9611),
}
CELLS = {"lfp": ("Prada 2013",), "li-ion": ("Chen 2020", "Mohtat 2020")}

# Watt-hours over ampere-hours of a discharge from full, at two rates: other runs of the same cells
# (PyBaMM 26.10, DFN, 25 degC: computed).
DISCHARGED = {
    "Prada 2013": ((0.5, 6.6584 / 2.1191), (1.0, 6.0166 / 1.9392)),
    "Chen 2020": ((0.5, 18.2666 / 5.0691), (1.0, 17.5048 / 4.9919)),
    "Mohtat 2020": ((0.2, 18.4888 / 4.9393), (1.0, 17.8611 / 4.8357)),
}


@pytest.mark.parametrize("cell", SIMULATED)
def test_a_cell_loses_as_simulated(cell: str) -> None:
    for rates, fraction in zip(RATES, SIMULATED[cell], strict=True):
        assert 1.0 / (1.0 + cell_loss(cell, *rates)) == pytest.approx(fraction, abs=1e-6)


@pytest.mark.parametrize("cell", DISCHARGED)
def test_a_faster_discharge_gives_as_much_less_as_in_its_own_simulation(cell: str) -> None:
    (slow, slow_v), (quick, quick_v) = DISCHARGED[cell]
    lost = (1.0 + cell_loss(cell, quick, 0.5)) / (1.0 + cell_loss(cell, slow, 0.5))
    assert lost == pytest.approx(slow_v / quick_v, abs=0.0040)


@pytest.mark.parametrize("chemistry", ["lfp", "li-ion", None])
@pytest.mark.parametrize("stated", ["both", "discharge", "neither"])
def test_every_published_cell_lies_within_the_spread(chemistry: str | None, stated: str) -> None:
    cells = CELLS.get(chemistry or "", tuple(SIMULATED))
    for cell in cells:
        for rates, fraction in zip(RATES, SIMULATED[cell], strict=True):
            if rates[1] > 0.5 and stated != "both":
                continue  # such a fast charge would be known to the owner
            known_rates = {"both": rates, "discharge": (rates[0], None), "neither": (None, None)}[
                stated
            ]
            loss = pack_loss(chemistry, *known_rates)
            assert abs(1.0 / fraction - 1.0 - loss.fraction) < 1.96 * loss.sd


def test_unknown_inputs_widen_the_spread() -> None:
    for chemistry in ("lfp", "li-ion"):
        widths = [
            pack_loss(chemistry, *known_rates).sd
            for known_rates in ((0.5, 0.2), (0.5, None), (None, None))
        ]
        assert widths == sorted(widths)
        assert widths[2] > 1.2 * widths[0]


def test_losses_grow_with_either_rate_from_zero_and_beyond_the_simulated_range() -> None:
    for cell in SIMULATED:
        assert cell_loss(cell, 0.0, 0.0) == 0.0
        for other in (0.0, 0.3, 1.7):
            out = [cell_loss(cell, rate, other) for rate in (0.05, 0.2, 0.4, 0.9, 1.5, 3.0)]
            back = [cell_loss(cell, other, rate) for rate in (0.05, 0.2, 0.4, 0.9, 1.5, 3.0)]
            assert out == sorted(out)
            assert back == sorted(back)
            assert out[0] < out[-1]
            assert back[0] < back[-1]


def test_within_the_rule_for_energy_in_over_energy_out() -> None:
    # 1.01 to 1.10 over the rates of small craft, by the same simulations.
    for chemistry in ("lfp", "li-ion"):
        for rates in RATES[:4]:
            assert 0.01 < pack_loss(chemistry, *rates).fraction < 0.10
