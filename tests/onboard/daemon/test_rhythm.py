"""When the daemon wakes up, and when it folds."""

import pytest

from onboard.daemon.rhythm import HELD_MOST_FRAMES, Rhythm, next_tick_s


def folds(watched: bool, every_s: float, late_s: float = 0.0) -> list[float]:
    """Return the times of the folds in twelve seconds of ticks."""
    rhythm, times = Rhythm(), []
    for n in range(round(12 / every_s)):
        now_s = 100.0 + n * every_s + (late_s if n % 2 else 0.0)
        if rhythm.fold_due(now_s, watched, 0):
            rhythm.folded(now_s)
            times.append(now_s - 100.0)
    return times


@pytest.mark.parametrize("late_s", [0.0, 0.05, -0.05])
def test_a_fold_a_second_while_somebody_watches(late_s: float) -> None:
    assert folds(True, 0.2, late_s) == pytest.approx(list(range(12)), abs=0.06)


def test_a_fold_in_four_seconds_while_nobody_does() -> None:
    assert folds(False, 0.8) == pytest.approx([0.0, 4.0, 8.0])


def test_a_fold_is_due_when_asked_for_or_when_much_has_come() -> None:
    rhythm = Rhythm()
    assert rhythm.fold_due(5.0, True, 0)
    rhythm.folded(5.0)
    assert not rhythm.fold_due(5.2, True, HELD_MOST_FRAMES - 1)
    assert rhythm.fold_due(5.2, True, HELD_MOST_FRAMES)
    rhythm.fold_soon()
    assert rhythm.fold_due(5.2, False, 0)
    rhythm.folded(5.2)
    assert not rhythm.fold_due(5.4, False, 0)


@pytest.mark.parametrize(("watched", "every_s"), [(True, 0.2), (False, 0.8)])
def test_late_ticks_do_not_add_up_and_none_is_skipped_or_doubled(
    watched: bool, every_s: float
) -> None:
    now_s = next_tick_s(1234.567, watched)
    for n in range(200):
        woken_s = now_s + 0.0001 + 0.03 * (n % 3)
        after_s = next_tick_s(woken_s, watched)
        assert after_s - now_s == pytest.approx(every_s)
        now_s = after_s
