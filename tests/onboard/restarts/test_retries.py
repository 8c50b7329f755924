"""When figures that failed are computed again, and without which parts."""

from onboard.efficiency.parts import PartError
from onboard.restarts.retries import PAUSE_FIRST_S, PAUSE_MOST_S, SOUND_AFTER_S, TRIES_MOST, Retries


def test_a_part_that_fails_twice_is_left_out() -> None:
    retries = Retries()
    assert retries.failed(PartError("curve"), 0.0) == PAUSE_FIRST_S
    assert retries.without == set()
    assert retries.failed(PartError("curve"), 3.0) is not None
    assert retries.without == {"curve"}


def test_two_parts_that_fail_once_each_are_kept() -> None:
    retries = Retries()
    retries.failed(PartError("curve"), 0.0)
    retries.failed(PartError("battery"), 3.0)
    assert retries.without == set()


def test_faults_far_apart_do_not_add_up() -> None:
    retries = Retries()
    for n in range(20):
        pause_s = retries.failed(PartError("curve"), n * (SOUND_AFTER_S + PAUSE_MOST_S + 1.0))
        assert pause_s == PAUSE_FIRST_S
    assert retries.without == set()
    assert retries.faults == 20


def test_without_a_part_to_blame_the_pauses_double_and_end() -> None:
    retries = Retries()
    pauses = [retries.failed(RuntimeError(), float(n)) for n in range(TRIES_MOST)]
    assert pauses == [1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0, None]


def test_a_reset_takes_every_part_back_in() -> None:
    retries = Retries()
    for n in range(2):
        retries.failed(PartError("curve"), float(n))
    retries.reset()
    assert retries.without == set()
    assert retries.failed(PartError("curve"), 2.0) == PAUSE_FIRST_S
    assert retries.without == set()
