"""Figures that fail: computed again, given up in the end, and brought back by a new trip."""

import asyncio

import pytest

from onboard.efficiency.parts import PartError
from onboard.record.subscriber import STRICT
from onboard.restarts import trip_keeper
from onboard.restarts.retries import TRIES_MOST
from onboard.restarts.trip_keeper import TripKeeper
from tests.onboard.small_rides import A_SECOND, PROFILE, START_US, received


@pytest.fixture(autouse=True)
def not_strict(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(STRICT, "0")


def codes(keeper: TripKeeper) -> list[str]:
    return [alert.code for alert in keeper.alerts()]


def test_after_many_faults_the_figures_are_given_up_until_a_new_trip() -> None:
    async def run() -> None:
        keeper = TripKeeper(PROFILE)
        assert (keeper.is_whole, codes(keeper)) == (True, [])
        for n in range(TRIES_MOST):
            assert keeper.why_none is (trip_keeper.AGAIN if n else None)
            keeper.failed(RuntimeError("unforeseen"))
        assert keeper.why_none is trip_keeper.GIVEN_UP
        assert keeper.refolding is None
        assert codes(keeper) == ["figures_given_up"]
        keeper.take(received(0, 3), START_US)
        assert keeper.ride.messages == 0
        assert not keeper.is_whole
        keeper.new_trip()
        keeper.take(received(3, 6), START_US)
        assert keeper.ride.messages == 3 * A_SECOND
        assert (keeper.is_whole, keeper.why_hidden, codes(keeper)) == (True, None, [])

    asyncio.run(run())


def test_the_saved_state_is_unchanged_while_a_part_is_left_out(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("onboard.restarts.retries.PAUSE_FIRST_S", 0.0)

    async def run() -> None:
        keeper = TripKeeper(PROFILE)
        keeper.take(received(0, 6), START_US)
        kept = keeper.saved_state()
        for _ in range(2):
            keeper.failed(PartError("battery"))
            assert not keeper.is_whole
            assert keeper.refolding is not None
            await asyncio.wait({keeper.refolding.task})
            assert keeper.poll(100.0)
        # The figures are back except for the battery's, whose saved state is older.
        assert keeper.why_none is None
        assert codes(keeper) == ["part_left_out"]
        assert not keeper.is_whole
        keeper.take(received(6, 9), START_US)
        assert keeper.saved_state() == kept

    asyncio.run(run())
