"""A rider who does what the coach's step says, and nothing else."""

from typing import Any

from onboard.contract.coach import Step, StepCode
from tests.craft.trial_boat import TURNS_DEG_PER_S, TrialBoat

POWER_W = 400.0
SWAP_S = 40.0
"""Time at rest to swap a propeller [s]."""


class CoachedRider:
    """Rides a craft by the coach's steps.

    Parameters
    ----------
    boat
        The craft.
    each_s
        Time between two looks at the screen [s].
    """

    def __init__(self, boat: TrialBoat, each_s: float = 1.0) -> None:
        self.boat, self._each_s = boat, each_s
        self.setup = "as is"
        self._heading_deg = boat.heading_deg
        self._turned = False
        self.steps: list[str] = []
        """The codes of the steps obeyed, each once while it lasts."""

    def obey(self, step: Step) -> tuple[list[Any], str | None]:
        """Return the frames of the next second, and the set-up that was put on, if one was."""
        code = step.code
        if not self.steps or self.steps[-1] != code.code:
            self.steps.append(code.code)
        if code is StepCode.SWAP:
            self.setup = str(step.values["setup"])
            self._turned = False
            return self.boat.ride(SWAP_S, self.setup, 0.0, self._heading_deg), self.setup
        if code in (StepCode.ENOUGH, StepCode.ENOUGH_ALIKE):
            return self.boat.ride(self._each_s, self.setup, 0.0, self._heading_deg), None
        if code is StepCode.TURN and not self._turned:
            self._heading_deg = (self._heading_deg + 180.0) % 360.0
            self._turned = True
        elif code is not StepCode.TURN:
            self._turned = False
        if code in (StepCode.LAP, StepCode.START_LAP):
            return (
                self.boat.ride(self._each_s, self.setup, POWER_W, turn_deg_per_s=3.0),
                None,
            )
        return self.boat.ride(self._each_s, self.setup, POWER_W, self._heading_deg), None


assert TURNS_DEG_PER_S * 12.0 >= 180.0, "a turn must end before the coach looks for the way back"
