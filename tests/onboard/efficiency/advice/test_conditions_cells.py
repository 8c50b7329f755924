"""Alerts of single cells: the lowest near its cut-off, and cells apart."""

import numpy as np
import pytest

from onboard.block import Block
from onboard.contract.alerts import Alert
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import unknown_figures
from onboard.efficiency.advice.conditions import AlertConditions
from onboard.profile import Battery, Profile
from tests.onboard.efficiency.advice.made_seconds import settled
from tests.onboard.efficiency.made_channels import channel

CELLS = 14


def sent(low_v, high_v, *, seconds=120, begin_s=0.0, cells=CELLS, **columns) -> Block:
    """Return the messages of packs, one a second, whose third cell is lowest."""
    t_s = begin_s + np.arange(seconds) + 0.5
    mean_v = (np.asarray(low_v) + (CELLS - 1) * np.asarray(high_v)) / CELLS
    known = {"pack": 0.0, "amps_a": 0.5, "low_cell": 3.0, "volts_v": CELLS * mean_v} | columns
    battery = channel("battery", t_s, cells=cells, low_cell_v=low_v, high_cell_v=high_v, **known)
    return Block({"battery": battery})


def alerts(*blocks: Block, seconds=120, chemistry="li-ion", cutoff_v=None) -> list[Alert]:
    """Return the cells' alerts after blocks."""
    battery = Battery(chemistry, CELLS, 20.0, cutoff_v=cutoff_v)
    watched = AlertConditions(Profile(battery=battery), cutoff_v=cutoff_v or 3.0 * CELLS)
    for block in blocks:
        watched.fold_block(block)
    watched.fold(settled(seconds))
    nothing = unknown_figures(Unknown(Reason.NOT_HEARD), float(seconds), "plain")
    return [one for one in watched.alerts(nothing) if one.code.startswith("cell")]


@pytest.mark.parametrize(
    ("low_v", "expected"), [(3.08, True), (3.10, False), (2.2, True), (3.5, False)]
)
def test_one_cell_near_its_cut_off_is_raised(low_v: float, expected: bool) -> None:
    # Li-ion stops at 3.0 V; 3 % above is 3.09 V. The pack as a whole is far from it.
    found = [one for one in alerts(sent(low_v, 3.6)) if one.code == "cell_low"]
    assert bool(found) is expected
    for alert in found:
        assert alert.level == "danger"
        assert alert.values == {"cell": 3, "source": "battery 0", "cell_v": low_v}


def test_the_owner_s_cut_off_counts_for_each_cell() -> None:
    assert not [
        one for one in alerts(sent(3.08, 3.6), cutoff_v=2.8 * CELLS) if one.code == "cell_low"
    ]


@pytest.mark.parametrize(
    ("apart_v", "amps_a", "expected"),
    [
        (0.08, 0.5, False),
        (0.20, 0.5, True),
        # Under load cells differ by their resistance as well: at twice the capacity per hour, by
        # up to 0.3 V more.
        (0.20, 20.0, False),
        (0.40, 20.0, True),
    ],
)
def test_cells_apart_are_raised_beyond_what_a_pack_in_order_shows(apart_v, amps_a, expected):
    found = alerts(sent(3.75 - apart_v, 3.75, amps_a=amps_a))
    assert [one.code for one in found] == ["cells_uneven"] * expected
    for alert in found:
        assert alert.level == "warning"
        assert alert.values["cell"] == 3
        assert alert.values["apart_v"] == pytest.approx(apart_v)


def test_cells_apart_for_a_moment_only_are_not_uneven() -> None:
    low_v = np.where(np.arange(120) % 30 < 25, 3.5, 3.74)
    assert alerts(sent(low_v, 3.75)) == []


def test_of_several_packs_the_lowest_is_named() -> None:
    found = alerts(sent(3.6, 3.62), sent(3.05, 3.1, pack=1.0), sent(3.07, 3.1, pack=2.0))
    (low,) = [one for one in found if one.code == "cell_low"]
    assert low.values["source"] == "battery 1"


def test_cells_that_are_no_longer_reported_end_their_alerts() -> None:
    assert alerts(sent(3.05, 3.6, seconds=60), seconds=80) != []
    assert alerts(sent(3.05, 3.6, seconds=60), seconds=180) == []


@pytest.mark.parametrize("columns", [{"cells": 1.0}, {"cells": 13.0}, {"low_cell_v": np.nan}])
def test_where_cells_are_not_reported_nothing_is_said(columns) -> None:
    low_v = columns.pop("low_cell_v", 2.5)
    assert alerts(sent(low_v, 3.6, **columns)) == []
