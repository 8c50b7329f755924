"""Content of the frame around every view: notices, age of the data, a replay's time bar."""

from dataclasses import field

from groundside.connection.source import ReplayState
from groundside.dashboard.content.small_figures import small_figures, unknown_reasons
from groundside.dashboard.notices import Notice, notices
from groundside.dashboard.view_state import ViewState
from groundside.words.figures import age_text, clock_text
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
    """Age of the data, after a question or a command's result if there is one.

    Parameters
    ----------
    parts
        The texts, most important first.
    stale
        Whether the data are too old to ride by.
    asks
        Whether the first part awaits a second press.
    fresh
        Whether it says no more than that the data are fresh.
    """

    parts: tuple[str, ...]
    stale: bool = False
    asks: bool = False
    fresh: bool = False


@dataclass(frozen=True)
class FrameContent:
    """The content around a view at one moment."""

    notices: tuple[Notice, ...]
    age: AgeContent
    replay: ReplayContent = field(default_factory=ReplayContent)


def age_content(state: ViewState) -> AgeContent:
    """Return the age of the data, after what a second press would do or a command's result."""
    age = ("no data", state.source) if not state.started else (_age(state),)
    if state.asks:
        return AgeContent((state.asks, age[0]), state.stale, asks=True)
    if state.done and not state.stale:
        return AgeContent((state.done, age[0]))
    known = state.started and state.age_s is not None
    return AgeContent(age, state.stale, fresh=known and not state.stale)


def _age(state: ViewState) -> str:
    if state.age_s is None:
        text = "data of unknown age"
    elif state.age_s < 1.0 and not state.stale:  # tenths would flicker
        return "data under 1 s old"
    else:
        text = f"data {age_text(state.age_s)} old"
    return f"STALE: {text}" if state.stale else text


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
