"""Content of the aim view: the target being chosen, the one in force, and how it is being met."""

from groundside.dashboard.content.items import Block, Item
from groundside.dashboard.content.ride import BigFigureContent
from groundside.dashboard.target_choice import (
    DISTANCE,
    KINDS,
    POWER,
    SPEED,
    TargetChoice,
    value_in_force,
)
from groundside.dashboard.view_state import ViewState
from groundside.words.cues import cue_text
from groundside.words.figures import percent
from groundside.words.reasons import reason_text
from groundside.words.stands import stand_text
from onboard.contract.figure import Unknown
from onboard.dataclass import dataclass

PURPOSE = {
    SPEED.key: "A speed over ground to hold: the cue says ease, hold or push.",
    POWER.key: "A battery power to hold, so that set-ups are compared at the same power.",
    DISTANCE.key: "A distance to make from now on: the cue says how fast, reserve kept.",
}
NOBODY = "A saved ride takes no new target."


@dataclass(frozen=True)
class AimContent:
    """The content of the aim view at one moment."""

    value: BigFigureContent
    blocks: tuple[Block, ...]


def aim_content(state: ViewState, choice: TargetChoice) -> AimContent:
    """Return the content of the aim view."""
    kind, units = choice.kind, state.units
    force = value_in_force(kind, state.snapshot)
    value = choice.value
    if not state.can_command:
        value = force
    digits = None if value is None else kind.text(value, units)
    is_set = force is not None and kind.text(force, units) == digits
    label = "in force" if is_set else "not set" if state.can_command else "none"
    figure = BigFigureContent(
        digits,
        kind.unit(units),
        kind.name,
        interval=label,
        why="" if value is not None else "no target",
    )
    more = PURPOSE[kind.key] if state.can_command else NOBODY
    return AimContent(figure, ((*_in_force(state), Item("for", more)),))


def _in_force(state: ViewState) -> Block:
    target, units = state.snapshot.target, state.units
    if isinstance(target, Unknown):
        return (Item("now", "no target in force", strong=True),)
    targets = [
        f"{kind.name} {kind.text(value, units)} {kind.unit(units)}"
        for kind in KINDS
        if (value := value_in_force(kind, state.snapshot)) is not None
    ]
    items = [Item("now", ", ".join(targets) or "a target of another kind", strong=True)]
    if state.stale:
        return (*items, Item("cue", "none: the data are stale"))
    cue = target.cue
    if isinstance(cue, Unknown):
        items.append(Item("cue", f"none: {reason_text(cue, units)}"))
    else:
        by = cue_text(target, units)
        items.append(Item("cue", f"{cue}: {by}" if by else cue, strong=True))
    if not isinstance(chance := target.confidence_fraction, Unknown):
        items.append(Item("chance", f"{percent(chance)} to make it at this speed"))
    items.append(Item("why", stand_text(target, units)))
    return tuple(items)
