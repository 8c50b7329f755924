"""The engine under evaluation: its profile, as stated, and its figures as plain numbers."""

import dataclasses
from typing import Any

import numpy as np

from onboard.contract.figure import Unknown
from onboard.efficiency.engine import Engine
from onboard.profile import Battery, Profile, Sensors
from tests.evaluation.world import Stated

NOT_CARRIED = ("battery", "charge", "charge_state", "pack", "trip")
"""Keys of an engine's state that do not carry over to a ride with a freshly charged pack."""


def profile(stated: Stated) -> Profile:
    """Return the owner's craft profile."""
    values = dataclasses.asdict(stated)
    return Profile(battery=Battery(**_of(Battery, values)), sensors=Sensors(**_of(Sensors, values)))


def _of(kind: type[Any], values: dict[str, Any]) -> dict[str, Any]:
    names = {setting.name for setting in dataclasses.fields(kind)}
    return {name: value for name, value in values.items() if name in names}


def engine(stated: Stated, kept: dict[str, Any] | None = None) -> Engine:
    """Return an engine, with what an earlier one learned about the craft."""
    if kept is None:
        return Engine(profile(stated))
    learned = {key: value for key, value in kept.items() if key not in NOT_CARRIED}
    return Engine(profile(stated), saved=learned)


def figure(figures: Any, path: str) -> dict[str, Any]:
    """Return a figure by its dotted name: value and interval, or the reason why it is unknown."""
    here = figures
    for name in path.split("."):
        if here is None or isinstance(here, Unknown):
            break
        if not hasattr(here, name):
            return {"why": f"the engine has no {path}"}
        here = getattr(here, name)
    if here is None:
        return {"why": "none"}
    if isinstance(here, Unknown):
        return {"why": here.code.code}
    if isinstance(here, np.generic):
        here = here.item()
    if isinstance(here, bool | str | int | float):
        return {"value": here}
    return {"value": here.value, "low": here.low, "high": here.high}
