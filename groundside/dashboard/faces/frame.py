"""What surrounds every view: notices, the age of the data, and the time bar of a replay."""

from dataclasses import dataclass, field

from groundside.connection.source import ReplayState
from groundside.dashboard.faces.small_figures import table_cells, unknown_reasons
from groundside.dashboard.notices import Notice, notices
from groundside.dashboard.scene import Scene
from groundside.words.figures import age_text, clock_text, whole
from onboard.contract.figure import Unknown


@dataclass(frozen=True)
class ReplayFace:
    """The time bar of a replay, with places as shares of its length."""

    state: str = ""
    at: str = ""
    of: str = ""
    fraction: float = 0.0
    ready_fraction: float = 1.0
    events: tuple[float, ...] = ()


@dataclass(frozen=True)
class AgeFace:
    """How old the data are and where they come from, most important first."""

    parts: tuple[str, ...]
    stale: bool = False


@dataclass(frozen=True)
class FrameFace:
    """The content around a view at one moment."""

    notices: tuple[Notice, ...]
    age: AgeFace
    replay: ReplayFace = field(default_factory=ReplayFace)


def age_face(scene: Scene) -> AgeFace:
    """Return the age of the data and where they come from; first, what became of a command."""
    if not scene.started:
        return AgeFace(_behind_said(scene, ("no data", scene.source)))
    link = scene.snapshot.link
    said = [f"STALE: {_age(scene)}" if scene.stale else _age(scene)]
    if link.lost:
        said.append(f"{link.lost} lost")
    if not isinstance(link.messages_per_s, Unknown) and not scene.stale:
        said.append(f"{whole(link.messages_per_s)} msg/s")
    said.append(link.source or scene.source)
    return AgeFace(_behind_said(scene, tuple(said)), scene.stale)


def _behind_said(scene: Scene, parts: tuple[str, ...]) -> tuple[str, ...]:
    return (scene.said, *parts[:1]) if scene.said and not scene.stale else parts


def _age(scene: Scene) -> str:
    if scene.age_s is None:
        return "data of unknown age"
    if scene.age_s < 1.0 and not scene.stale:  # tenths would only flicker
        return "data under 1 s old"
    return f"data {age_text(scene.age_s)} old"


def replay_face(replay: ReplayState | None) -> ReplayFace:
    """Return the time bar of a replay; it has no place before the first snapshot."""
    if replay is None:
        return ReplayFace("playing")
    going = "at the end" if replay.stands_still else "playing"
    state = "paused" if replay.paused else going

    def fraction(place_s: float) -> float:
        return min(1.0, max(0.0, place_s / replay.duration_s)) if replay.duration_s > 0 else 0.0

    return ReplayFace(
        f"{state} {replay.speed:g}x",
        clock_text(replay.t_s),
        clock_text(replay.duration_s),
        fraction(replay.t_s),
        min(1.0, max(0.0, round(replay.ready_fraction, 2))),
        tuple(fraction(event.place_s) for event in replay.events),
    )


def frame_face(scene: Scene) -> FrameFace:
    """Return the content around a view.

    Parameters
    ----------
    scene
        The present state.
    """
    reasons = unknown_reasons(table_cells(scene.snapshot, scene.units))
    return FrameFace(notices(scene, reasons), age_face(scene), replay_face(scene.replay))
