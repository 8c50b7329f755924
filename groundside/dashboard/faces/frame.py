"""What stands around every view: notices, the age of the data, and the time bar of a replay."""

from dataclasses import dataclass, field

from groundside.dashboard.cells import table_cells, unknown_reasons
from groundside.dashboard.notices import Notice, notices
from groundside.dashboard.scene import Scene
from groundside.figures import age_text, clock_text, number, part, text_of
from groundside.freshness import data_age_s, is_stale
from groundside.source import Snapshot


@dataclass(frozen=True)
class ReplayFace:
    """The time bar of a replay; places as shares of the whole time."""

    state: str = ""
    at: str = ""
    of: str = ""
    fraction: float = 0.0
    ready_fraction: float = 1.0
    events: tuple[float, ...] = ()


@dataclass(frozen=True)
class FrameFace:
    """All that stands around a view at one moment."""

    notices: tuple[Notice, ...]
    age: tuple[str, ...]
    replay: ReplayFace = field(default_factory=ReplayFace)


def age_parts(snapshot: Snapshot | None, since_received_s: float, source: str) -> tuple[str, ...]:
    """Say how old the data are and where they come from, the most important first."""
    if snapshot is None:
        return ("no data", source)
    age_s = data_age_s(snapshot, since_received_s)
    stale = is_stale(snapshot, since_received_s)
    if age_s is None:
        age = "data of unknown age"
    elif age_s < 1.0 and not stale:  # a running tenth would only flicker
        age = "data under 1 s old"
    else:
        age = f"data {age_text(age_s)} old"
    link = part(snapshot, "link")
    said = [f"STALE: {age}" if stale else age]
    rate, lost = number(link.get("messages_per_s")), number(link.get("lost"))
    if lost:
        said.append(f"{lost:.0f} lost")
    if rate is not None and not stale:
        said.append(f"{rate:.0f} msg/s")
    said.append(text_of(link.get("source")) or source)
    return tuple(said)


def replay_face(snapshot: Snapshot | None) -> ReplayFace:
    """Make the time bar of a replay."""
    replay = part(snapshot, "replay")
    at_s, duration_s = number(replay.get("t_s")), number(replay.get("duration_s"))
    speed = number(replay.get("speed"))
    if replay.get("paused") is True:
        state = "paused"
    elif at_s is not None and duration_s is not None and at_s >= duration_s:
        state = "at the end"
    else:
        state = "playing"
    if speed is not None:
        state += f" {speed:g}x"
    ready = number(replay.get("ready_fraction"))
    return ReplayFace(
        state,
        clock_text(at_s) if at_s is not None else "",
        clock_text(duration_s) if duration_s is not None else "",
        min(1.0, max(0.0, at_s / duration_s)) if at_s is not None and duration_s else 0.0,
        1.0 if ready is None else min(1.0, max(0.0, round(ready, 2))),
        _event_fractions(replay.get("events"), duration_s),
    )


def _event_fractions(events: object, duration_s: float | None) -> tuple[float, ...]:
    if not isinstance(events, list) or not duration_s:
        return ()
    places = (number(event.get("place_s")) for event in events if isinstance(event, dict))
    return tuple(
        min(1.0, max(0.0, place_s / duration_s)) for place_s in places if place_s is not None
    )


def frame_face(scene: Scene) -> FrameFace:
    """Make all that stands around a view.

    Parameters
    ----------
    scene
        What is so now.
    """
    age = age_parts(scene.snapshot, scene.since_received_s, scene.source)
    if scene.said and not scene.stale:
        age = (scene.said, *age[:1])
    return FrameFace(
        notices=notices(
            scene.snapshot,
            since_received_s=scene.since_received_s,
            problem=scene.problem,
            reasons=unknown_reasons(table_cells(scene.snapshot, scene.units)),
            refused=scene.refused,
        ),
        age=age,
        replay=replay_face(scene.snapshot),
    )
