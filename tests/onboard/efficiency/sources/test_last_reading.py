"""A held reading: the last one up to a second, while it is fresh."""

import numpy as np

from onboard.block import Block, Channel
from onboard.efficiency.sources.last_reading import Held


def block(*samples: tuple[float, float]) -> Block:
    t_s, value = (np.array(column, float) for column in zip(*samples, strict=True))
    return Block({"drive": Channel(t_s, {"temperature_degc": value})})


def test_a_reading_is_held_from_call_to_call_until_it_is_stale() -> None:
    held = Held("drive", "temperature_degc")
    held.fold(block((0.5, 40.0), (1.5, np.nan), (1.6, 41.0)))
    assert held.at(np.array([1.0, 2.0])).tolist() == [40.0, 41.0]
    assert held.at(np.array([3.0, 6.0])).tolist() == [41.0, 41.0]
    assert np.isnan(held.at(np.array([7.0]))).all()
    held.fold(block((7.5, 50.0)))
    assert held.at(np.array([8.0])).tolist() == [50.0]


def test_readings_out_of_order_are_put_in_order() -> None:
    held = Held("drive", "temperature_degc")
    held.fold(block((2.5, 42.0)))
    held.fold(block((0.5, 40.0)))
    assert held.at(np.array([1.0, 2.0, 3.0])).tolist() == [40.0, 40.0, 42.0]
    assert held.at(np.empty(0)).tolist() == []
