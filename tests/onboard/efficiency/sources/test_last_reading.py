"""The last reading up to a second, until it is stale."""

import numpy as np

from onboard.block import Block, Channel
from onboard.efficiency.sources.last_reading import LastReading


def block(*samples: tuple[float, float]) -> Block:
    t_s, value = (np.array(column, float) for column in zip(*samples, strict=True))
    return Block({"drive": Channel(t_s, {"temperature_degc": value})})


def test_a_reading_is_carried_from_call_to_call_until_it_is_stale() -> None:
    reading = LastReading("drive", "temperature_degc")
    reading.fold(block((0.5, 40.0), (1.5, np.nan), (1.6, 41.0)))
    assert reading.at(np.array([1.0, 2.0])).tolist() == [40.0, 41.0]
    assert reading.at(np.array([3.0, 6.0])).tolist() == [41.0, 41.0]
    assert np.isnan(reading.at(np.array([7.0]))).all()
    reading.fold(block((7.5, 50.0)))
    assert reading.at(np.array([8.0])).tolist() == [50.0]


def test_readings_out_of_order_are_put_in_order() -> None:
    reading = LastReading("drive", "temperature_degc")
    reading.fold(block((2.5, 42.0)))
    reading.fold(block((0.5, 40.0)))
    assert reading.at(np.array([1.0, 2.0, 3.0])).tolist() == [40.0, 40.0, 42.0]
    assert reading.at(np.empty(0)).tolist() == []
