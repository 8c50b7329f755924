"""One attempt at folding a ride again."""

import asyncio
import gc
from typing import Any

from onboard.profile import Profile
from onboard.restarts.refold_task import RefoldTask
from onboard.ride.ride import Ride
from tests.patience import PATIENCE_S


def test_a_dropped_attempt_that_fails_is_not_logged_by_asyncio() -> None:
    complaints: list[dict[str, Any]] = []

    def fails() -> Ride:
        raise ArithmeticError

    async def scene() -> None:
        asyncio.get_running_loop().set_exception_handler(lambda _, about: complaints.append(about))
        attempt = RefoldTask(Profile(), fails, 0.0)
        await asyncio.wait({attempt.task}, timeout=PATIENCE_S)
        assert attempt.done
        del attempt

    asyncio.run(scene())
    gc.collect()
    assert complaints == []
