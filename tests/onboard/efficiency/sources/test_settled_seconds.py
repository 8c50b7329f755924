"""Settled seconds as they travel: a part of them is whole in every column."""

from dataclasses import fields

import numpy as np

from onboard.efficiency.sources.settled_seconds import SettledSeconds

PACK_DEGC = ("battery", "temperature_degc")


def test_a_part_has_the_same_seconds_in_every_column_and_reading() -> None:
    columns = {one.name: np.arange(10.0) for one in fields(SettledSeconds)}
    columns.pop("readings")
    part = SettledSeconds(**columns, readings={PACK_DEGC: np.arange(10.0)}).part(3, 7)
    assert len(part) == 4
    for name in columns:
        assert getattr(part, name).tolist() == [3.0, 4.0, 5.0, 6.0], name
    assert part.readings[PACK_DEGC].tolist() == [3.0, 4.0, 5.0, 6.0]
