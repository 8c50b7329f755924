"""A replayed trial is coached as it was on the water, with the standing of the saved session."""

import asyncio
from dataclasses import replace
from pathlib import Path

import pytest

from groundside.replay.replay_source import ReplaySource
from onboard.coach.reckoning import Reckoning
from onboard.contract.coach import Coach
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.profile import Profile
from tests.onboard.coach.made_day import made_day

pytestmark = pytest.mark.slow


class Clock:
    def __init__(self) -> None:
        self.now_s = 0.0

    def __call__(self) -> float:
        return self.now_s

    async def sleep(self, seconds_s: float) -> None:
        self.now_s += seconds_s
        await asyncio.sleep(0)


def seen(folder: Path, jump_back: bool = False) -> list[Coach | Unknown]:
    """Return the coach at every update of a replay at 60 times the speed."""

    async def main() -> list[Coach | Unknown]:
        clock = Clock()
        source = ReplaySource(
            folder, Profile(), speed=60.0, stays_at_end=jump_back, clock=clock, sleep=clock.sleep
        )
        found: list[Coach | Unknown] = []
        left = 1 if jump_back else 0
        async for update in source.stream():
            assert update.snapshot is not None
            found.append(update.snapshot.coach)
            if update.replay.t_s < update.replay.duration_s or not jump_back:
                continue
            if not left:
                break
            left -= 1
            source.go_to(0.3)
        return found

    return asyncio.run(main())


@pytest.mark.parametrize("jump_back", [False, True])
def test_its_last_standing_is_that_of_the_saved_session(tmp_path: Path, jump_back: bool) -> None:
    folder = made_day().put(tmp_path / "s")
    coaches = seen(folder, jump_back)
    assert coaches[0] == Unknown(Reason.NO_TRIAL)
    last = coaches[-1]
    assert isinstance(last, Coach)
    assert last.runs == (2, 2)
    whole = Reckoning([folder], Profile()).reckon().standing
    assert not isinstance(whole, Unknown)
    assert not isinstance(last.standing, Unknown)
    assert replace(last.standing, until_s=0.0) == replace(whole, until_s=0.0)
    codes = {one.step.code.code for one in coaches if isinstance(one, Coach)}
    assert {"hold", "turn", "back"} <= codes


def test_a_log_without_marks_has_no_coach(tmp_path: Path) -> None:
    folder = made_day().put(tmp_path / "s")
    coaches = seen(folder / "telemetry.tlog")
    assert set(coaches) == {Unknown(Reason.NO_TRIAL)}
