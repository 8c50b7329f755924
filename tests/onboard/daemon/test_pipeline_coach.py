"""The coach in the daemon: it begins and ends with the trial, and nothing waits for it."""

import asyncio
import os
import signal
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from onboard.coach import carried
from onboard.coach.live import LiveCoach
from onboard.contract.alerts import AlertCode
from onboard.contract.coach import Coach, StepCode
from onboard.contract.commands import Mark, Set, TrialPlan
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.record.subscriber import STRICT
from onboard.ride.ride import Ride
from tests.onboard.daemon.test_pipeline import Turning
from tests.onboard.small_rides import PROFILE
from tests.patience import PATIENCE_S

pytestmark = pytest.mark.slow
PLAN = TrialPlan(("A", "B"), "there_and_back")
TRIAL = Set(1, "trial", PLAN)


def turn_until(there: Turning, done: Callable[[], bool]) -> None:
    end_s = time.monotonic() + PATIENCE_S
    while not done():
        assert time.monotonic() < end_s
        there.turn()
        there.book.flush()
        time.sleep(0.01)


def play(folder: Path, scene: Callable[[Turning], None]) -> None:
    async def whole() -> None:
        there = Turning(folder)
        try:
            there.turn(3)
            scene(there)
        finally:
            there.pipeline.close(lambda: PATIENCE_S)

    asyncio.run(whole())


def coach_of(there: Turning) -> Coach | Unknown:
    return there.pipeline.coach.now()


def is_running(pid: int) -> bool:
    return Path(f"/proc/{pid}").exists()


def test_it_begins_and_ends_with_the_trial_and_the_daemon(tmp_path: Path) -> None:
    children: list[int] = []

    def child(there: Turning) -> int:
        turn_until(there, lambda: there.pipeline.coach.child_pid is not None)
        pid = there.pipeline.coach.child_pid
        assert pid is not None
        children.append(pid)
        return pid

    def scene(there: Turning) -> None:
        assert coach_of(there) == Unknown(Reason.NO_TRIAL)
        assert there.pipeline.coach.child_pid is None
        assert there.execute(TRIAL)
        first = child(there)
        coach = coach_of(there)
        assert isinstance(coach, Coach)
        assert coach.step.code is StepCode.SWAP
        assert there.execute(Set(2, "trial", None))
        there.turn()
        assert coach_of(there) == Unknown(Reason.NO_TRIAL)
        assert not is_running(first)
        assert there.execute(TRIAL)
        child(there)

    play(tmp_path, scene)
    assert len(set(children)) == 2
    assert not any(map(is_running, children))


def test_a_trial_stays_in_force_on_a_new_trip(tmp_path: Path) -> None:
    def scene(there: Turning) -> None:
        for command in (TRIAL, Set(2, "target_power_w", 400.0), Set(3, "setup", "A")):
            assert there.execute(command)
        assert there.execute(Mark(4, "new_trip"))
        noted = [(one.key, one.value) for one in there.noted_commands() if isinstance(one, Set)]
        assert noted == [("setup", "A"), ("trial", PLAN), ("target_power_w", 400.0)]
        there.turn(3)
        assert isinstance(coach_of(there), Coach)

    play(tmp_path, scene)


def test_a_child_that_keeps_dying_is_named_and_the_figures_go_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(STRICT, "0")

    def alerts(there: Turning) -> list[AlertCode]:
        running = there.pipeline._running(time.monotonic())
        return [subscriber.code for subscriber in running.failing]

    def kill(there: Turning) -> bool:
        pid = there.pipeline.coach.child_pid
        if pid is not None:
            os.kill(pid, signal.SIGKILL)
        return AlertCode.COACH_FAILED in alerts(there)

    def scene(there: Turning) -> None:
        assert there.execute(TRIAL)
        turn_until(there, lambda: kill(there))
        coach = coach_of(there)
        assert isinstance(coach, Coach)
        assert coach.standing == Unknown(Reason.RECKONING_FAILED)
        messages = there.pipeline.ride.messages
        there.turn()
        assert there.pipeline.ride.messages > messages

    play(tmp_path, scene)


def test_without_a_record_there_are_steps_and_no_standing() -> None:
    ride, coach = Ride(PROFILE), LiveCoach()
    ride.trial = PLAN
    coach.turn(ride, [], 0)
    now = coach.now()
    assert isinstance(now, Coach)
    assert now.standing == Unknown(Reason.NOT_RECORDED)
    assert coach.child_pid is None


def test_a_trial_goes_on_after_a_restart(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Power is cut to swap a propeller or a pack: once the names had to be typed again."""
    # The stamps of these frames are long past.
    monkeypatch.setattr(carried, "CARRIED_WITHIN_S", 1e12)
    folders: list[Path] = []

    def first(there: Turning) -> None:
        for command in (TRIAL, Set(2, "setup", "A"), Set(3, "target_power_w", 400.0)):
            assert there.execute(command)
        folders.append(there.book.folder)

    def second(there: Turning) -> None:
        coach = coach_of(there)
        assert isinstance(coach, Coach)
        assert coach.setups == ("A", "B")
        engine = there.pipeline.ride.engine
        assert (engine.learner.setup, engine.adviser.aim.power_w) == ("A", 400.0)
        assert there.pipeline._trial_folders() == [*folders, there.book.folder]
        # As marks, so that a replay and a comparison of this session alone know it, too.
        assert {one.key for one in there.noted_commands() if isinstance(one, Set)} == {
            "trial", "setup", "target_power_w"
        }  # fmt: skip
        folders.append(there.book.folder)
        assert there.execute(Set(4, "trial", None))

    def third(there: Turning) -> None:
        assert coach_of(there) == Unknown(Reason.NO_TRIAL)

    for scene in (first, second, third):
        play(tmp_path, scene)


def test_a_trial_of_another_day_does_not_go_on(tmp_path: Path) -> None:
    def first(there: Turning) -> None:
        assert there.execute(TRIAL)

    def second(there: Turning) -> None:
        assert coach_of(there) == Unknown(Reason.NO_TRIAL)

    for scene in (first, second):
        play(tmp_path, scene)
