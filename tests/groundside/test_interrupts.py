"""An interrupt that is held back comes at the end, and only once."""

import signal

import pytest

from groundside.interrupts import interrupts_held


def test_an_interrupt_comes_at_the_end() -> None:
    reached = []
    with pytest.raises(KeyboardInterrupt), interrupts_held():
        signal.raise_signal(signal.SIGINT)
        reached.append(True)
    assert reached
    # As before: the next one comes at once.
    with pytest.raises(KeyboardInterrupt):
        signal.raise_signal(signal.SIGINT)
