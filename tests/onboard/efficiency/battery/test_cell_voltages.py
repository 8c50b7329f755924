"""Cell voltages: whose they are, and how far apart those of a pack in order may be.

Frames are packed by pymavlink. The open-circuit curves are of published cells that the engine's own
curve is a mean of (tests/data/README.md).
"""

import math

import numpy as np
import pymavlink.dialects.v20.all as dialect
import pytest

from onboard.block import Block
from onboard.efficiency.battery.cell_voltages import Cells, CellVoltages, most_apart_v
from onboard.efficiency.battery.ocv_curve import OCV_CURVES
from onboard.efficiency.common_practice import PACKS_MOST, STALE_READING_S
from onboard.profile import Battery
from onboard.telemetry.link.link_scanner import LinkScanner
from onboard.telemetry.mavlink import layouts
from onboard.telemetry.messages.table import MESSAGES
from tests.onboard.efficiency.battery.made_packs import AT, published
from tests.onboard.efficiency.made_channels import channel

NUMBER = dialect.MAVLINK_MSG_ID_BATTERY_STATUS
NO_CELL, NO_FURTHER_CELL = 65535, 0
"""MAVLink, common message set: in `voltages` and in `voltages_ext`."""


def sent(millivolts: list[int], *, pack=0, t_s=1.0) -> Block:
    """Return the block of a BATTERY_STATUS, its fields filled from the first on."""
    first, further = millivolts[:10], millivolts[10:]
    message = dialect.MAVLink_battery_status_message(
        pack, 0, 1, 2000, first + [NO_CELL] * (10 - len(first)), 100, 0, 0, 50, 0, 0,
        further + [NO_FURTHER_CELL] * (4 - len(further)),
    )  # fmt: skip
    frames = LinkScanner().push([(0, message.pack(dialect.MAVLink(None, 1, 1)))])
    columns = MESSAGES[NUMBER].convert(frames.rows(layouts.layout(NUMBER)))
    return Block({"battery": channel("battery", [t_s], **columns)})


def seen(*blocks: Block, cells=14, chemistry="li-ion", at=(2.0,), scale=1.0) -> Cells | None:
    watched = CellVoltages(Battery(chemistry, cells, 20.0), scale)
    for block in blocks:
        watched.fold(block)
    return watched.at(np.asarray(at))


def test_the_lowest_cell_is_found_among_fourteen() -> None:
    volts = [3700] * 14
    for number in (3, 12):
        found = seen(sent([*volts[:number], 3412, *volts[number + 1 :]]))
        assert found.packs == (0,)
        assert found.low_cell[0, 0] == number + 1
        assert found.low_v[0, 0] == pytest.approx(3.412)
        assert found.apart_v[0, 0] == pytest.approx(0.288)
        assert found.most_v[0, 0] < 0.2


@pytest.mark.parametrize(
    ("cells", "millivolts"),
    [
        # The pack's voltage in place of the first cell's; over 65.534 V it goes on in the next.
        (14, [51800]),
        (2, [7400]),
        (24, [65534, 23266]),
        (2, [65534, 2000]),
        # Fewer cells are stated than the pack has, or more.
        (14, [3700, 3650, *[3700] * 10]),
        (8, [3300, 3250, *[3300] * 7]),
        (20, [3700, 3650, *[3700] * 12]),
        # One voltage, divided by the number of cells.
        (14, [3650] * 14),
        # A loose tap: its neighbour shows both.
        (4, [3700, 0, 7400, 3700]),
    ],
)
def test_voltages_that_are_not_those_of_all_cells_tell_nothing(cells, millivolts) -> None:
    assert seen(sent(millivolts), cells=cells) is None


def test_the_profile_s_scale_counts_for_cells_too() -> None:
    block = sent([3700, 3600, 3700, 3700])
    assert seen(block, cells=4, scale=1.02).low_v[0, 0] == pytest.approx(3.672)


def test_without_a_battery_nothing_is_known_of_cells() -> None:
    watched = CellVoltages(None, 1.0)
    watched.fold(sent([3700, 3600]))
    assert watched.at(np.array([2.0])) is None


def test_packs_are_kept_apart_and_their_readings_go_stale() -> None:
    blocks = [
        sent([3700, 3600, 3700], pack=0, t_s=1.0),
        sent([3700, 3700, 3500], pack=3, t_s=2.0),
        sent([3700, 3690, 3700], pack=0, t_s=3.0),
    ]
    times = np.array([0.5, 1.0, 2.5, 3.0, 2.0 + STALE_READING_S, 4.0 + STALE_READING_S])
    found = seen(*blocks, cells=3, at=times)
    assert found.packs == (0, 3)
    unknown = math.nan
    np.testing.assert_allclose(
        found.low_v,
        [[unknown, unknown], [3.6, unknown], [3.6, 3.5], [3.69, 3.5], [3.69, 3.5], [unknown] * 2],
    )
    assert found.low_cell[2].tolist() == [2.0, 3.0]


def test_the_order_of_packs_is_that_of_their_numbers_whichever_was_heard_first() -> None:
    # With both as low, the one named would depend on where the stream was cut.
    blocks = [sent([3700, 3100], pack=3), sent([3700, 3100], pack=1)]
    assert seen(*blocks, cells=2).packs == (1, 3)


def test_a_late_message_does_not_stand_in_for_a_newer_one() -> None:
    blocks = [sent([3700, 3600], t_s=3.0), sent([3700, 3500], t_s=2.0)]
    assert seen(*blocks, cells=2, at=[3.5]).low_v[0, 0] == pytest.approx(3.6)


def test_any_partition_gives_the_same() -> None:
    rng = np.random.default_rng(1)
    blocks = [
        sent([3700, int(rng.integers(3300, 3690))], pack=int(rng.integers(2)), t_s=float(t_s))
        for t_s in np.sort(rng.uniform(0.0, 100.0, 200))
    ]
    times = np.arange(1.0, 101.0)
    whole = seen(*blocks, cells=2, at=times)
    watched, pieces = CellVoltages(Battery("li-ion", 2, 20.0), 1.0), []
    for number, t_s in enumerate(times):
        while blocks and blocks[0].channels["battery"].t_s[0] <= t_s:
            watched.fold(blocks.pop(0))
        pieces.append(watched.at(np.array([t_s])))
        assert pieces[number].packs == whole.packs[: len(pieces[number].packs)]
    for name in ("low_cell", "low_v", "apart_v", "most_v"):
        columns = np.full((100, 2), np.nan)
        for number, piece in enumerate(pieces):
            columns[number, : len(piece.packs)] = getattr(piece, name)[0]
        np.testing.assert_array_equal(columns, getattr(whole, name))


def test_memory_is_bounded_over_hours_and_over_stray_instances() -> None:
    watched = CellVoltages(Battery("li-ion", 2, 20.0), 1.0)
    for second in range(1000):
        watched.fold(sent([3700, 3600], pack=second % 50, t_s=float(second)))
        found = watched.at(np.array([float(second)]))
    assert len(found.packs) == PACKS_MOST
    (rows,) = {len(rows) <= STALE_READING_S + 1 for rows in vars(watched)["_rows"].values()}
    assert rows


@pytest.mark.parametrize(
    ("cell", "chemistry"),
    [("Chen2020", "li-ion"), ("Mohtat2020", "li-ion"), ("Ai2020", "li-ion"), ("Prada2013", "lfp")],
)
def test_a_pack_in_order_is_within_the_limit_at_every_charge(cell: str, chemistry: str) -> None:
    # Charges 3 % about their mean at most, resistances a third apart, taps off by 15 mV.
    ocv_v = published()[cell]
    for charge in np.linspace(0.03, 0.97, 95):
        for rate_per_h in (0.0, 0.5, 1.0):
            at = np.clip(charge + np.array([-0.03, 0.03]), 0.0, 1.0)
            sag_v = 0.1 * rate_per_h * np.array([1.15, 0.85])
            volts = np.interp(at, AT, ocv_v) - sag_v + np.array([-0.0075, 0.0075])
            most_v = most_apart_v(
                OCV_CURVES[chemistry], volts[None].mean(axis=1), np.array([rate_per_h])
            )
            # Just off the charger nothing is said.
            assert not volts[1] - volts[0] > most_v[0], (charge, rate_per_h)


@pytest.mark.parametrize(("chemistry", "mean_v"), [("lfp", 3.28), ("li-ion", 3.7)])
def test_a_fifth_of_a_volt_apart_is_uneven_at_rest(chemistry: str, mean_v: float) -> None:
    # Common practice, from memory: 50 mV at rest is worth balancing, 200 mV a fault.
    most_v = most_apart_v(OCV_CURVES[chemistry], np.array([mean_v]), np.zeros(1))[0]
    assert 0.05 < most_v < 0.15


def test_just_off_the_charger_nothing_is_said() -> None:
    found = seen(sent([3650, 3450, *[3600] * 6]), cells=8, chemistry="lfp")
    assert found.apart_v[0, 0] == pytest.approx(0.2)
    assert math.isnan(found.most_v[0, 0])
