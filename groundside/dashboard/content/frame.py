"""Content of the frame around every view: notices, age of the data, a replay's time bar."""

from dataclasses import field

from groundside.connection.source import ReplayState
from groundside.dashboard.content.small_figures import small_figures, unknown_reasons
from groundside.dashboard.notices import Notice, notices
from groundside.dashboard.view_state import ViewState
from groundside.words.figures import age_text, clock_text, whole
from onboard.contract.figure import Unknown
from onboard.dataclass import dataclass


@dataclass(frozen=True)
class ReplayContent:
    """The time bar of a replay, with places as shares of its length."""

    status: str = ""
    at: str = ""
    of: str = ""
    fraction: float = 0.0
    ready_fraction: float = 1.0
    events: tuple[float, ...] = ()


@dataclass(frozen=True)
class AgeContent:
    """Age and source of the data, most important first."""

    parts: tuple[str, ...]
    stale: bool = False


@dataclass(frozen=True)
class FrameContent:
    """The content around a view at one moment."""

    notices: tuple[Notice, ...]
    age: AgeContent
    replay: ReplayContent = field(default_factory=ReplayContent)


def age_content(state: ViewState) -> AgeContent:
    """Return the age of the data and their source, after the result of a command."""
    if not state.started:
        return AgeContent(_behind_result(state, ("no data", state.source)))
    link = state.snapshot.link
    parts = [f"STALE: {_age(state)}" if state.stale else _age(state)]
    if link.lost:
        parts.append(f"{link.lost} lost")
    if not isinstance(link.messages_per_s, Unknown) and not state.stale:
        parts.append(f"{whole(link.messages_per_s)} msg/s")
    parts.append(link.source or state.source)
    return AgeContent(_behind_result(state, tuple(parts)), state.stale)


def _behind_result(state: ViewState, parts: tuple[str, ...]) -> tuple[str, ...]:
    return (state.done, *parts[:1]) if state.done and not state.stale else parts


def _age(state: ViewState) -> str:
    if state.age_s is None:
        return "data of unknown age"
    if state.age_s < 1.0 and not state.stale:  # tenths would flicker
        return "data under 1 s old"
    return f"data {age_text(state.age_s)} old"


def replay_content(replay: ReplayState | None) -> ReplayContent:
    """Return the time bar of a replay; it has no place before the first snapshot."""
    if replay is None:
        return ReplayContent("playing")
    going = "at the end" if replay.stands_still else "playing"
    status = "paused" if replay.paused else going

    def fraction(place_s: float) -> float:
        return min(1.0, max(0.0, place_s / replay.duration_s)) if replay.duration_s > 0 else 0.0

    return ReplayContent(
        f"{status} {replay.speed:g}x",
        clock_text(replay.t_s),
        clock_text(replay.duration_s),
        fraction(replay.t_s),
        min(1.0, max(0.0, round(replay.ready_fraction, 2))),
        tuple(fraction(event.place_s) for event in replay.events),
    )


def frame_content(state: ViewState) -> FrameContent:
    """Return the content around a view.

    Parameters
    ----------
    state
        The present state.
    """
    reasons = unknown_reasons(small_figures(state.snapshot, state.units))
    return FrameContent(notices(state, reasons), age_content(state), replay_content(state.replay))
