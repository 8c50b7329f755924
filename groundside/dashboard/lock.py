"""The lock against wet hands: while it is on, taps and keys do nothing but unlock.

Spray hits one place many times, or many places at once. So unlocking takes two buttons at opposite
ends of the screen, pressed one after the other; a press anywhere else starts over.
"""

from collections.abc import Callable
from typing import Literal

from onboard.dataclass import dataclass

End = Literal["left", "right"]
ENDS: tuple[End, End] = ("left", "right")

WITHIN_S = 3.0
"""Longest time between the two presses that unlock [s]. Common practice, no source."""


@dataclass(frozen=True)
class LockState:
    """The lock at one moment.

    Parameters
    ----------
    locked
        Whether it is on.
    pressed
        Which of its two buttons was pressed a moment ago; empty if neither.
    """

    locked: bool = False
    pressed: End | Literal[""] = ""


class Lock:
    """Locks at once, and unlocks on two presses.

    Parameters
    ----------
    clock
        A monotonic clock [s].

    Examples
    --------
    >>> now_s = 0.0
    >>> lock = Lock(lambda: now_s)
    >>> lock.lock()
    >>> for _ in range(9):
    ...     lock.press("left")
    >>> lock.state
    LockState(locked=True, pressed='left')
    >>> now_s = 2.9
    >>> lock.press("right")
    >>> lock.state
    LockState(locked=False, pressed='')
    """

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._locked = False
        self._pressed: End | Literal[""] = ""
        self._since_s = 0.0

    @property
    def state(self) -> LockState:
        """The lock now."""
        if self._clock() - self._since_s > WITHIN_S:
            self._pressed = ""
        return LockState(self._locked, self._pressed)

    def lock(self) -> None:
        """Lock."""
        self._locked, self._pressed = True, ""

    def press(self, end: End | None) -> None:
        """Take a press while locked.

        Parameters
        ----------
        end
            Which of the two buttons was pressed; the second one unlocks. None is any other place or
            key, after which the next press counts as a first one.
        """
        before = self.state.pressed
        if end and before and before != end:
            self._locked, self._pressed = False, ""
        else:
            self._pressed, self._since_s = end or "", self._clock()
