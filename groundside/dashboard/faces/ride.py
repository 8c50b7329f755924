"""What the ride view says: a snapshot, its age and the rider's units become plain texts.

No screen code is here, so that every text can be tested without a terminal. Texts are made at the
precision that is shown; equal texts are not painted again.
"""

from dataclasses import dataclass, field

from groundside.dashboard.cells import TableCell, table_cells, unknown_reasons
from groundside.dashboard.notices import Notice, notices
from groundside.figures import (
    UNKNOWN,
    Reading,
    age_text,
    clock_text,
    consumption_text,
    number,
    one_decimal,
    part,
    percent,
    reading,
    text_of,
    three_figures,
)
from groundside.freshness import data_age_s, is_stale
from groundside.source import Snapshot
from groundside.units import Units

CUES = ("ease", "hold", "push")
LARGEST_SHOWN = 9999.5


@dataclass(frozen=True)
class HeroFace:
    """A big figure: its digits, what it is, how sure it is, and why it is unknown."""

    digits: str = UNKNOWN
    unit: str = ""
    label: str = ""
    interval: str = ""
    why: str = ""
    stale: bool = False


@dataclass(frozen=True)
class CueFace:
    """The cue: one of `ease`, `hold`, `push`, or empty with the reason in the text."""

    word: str = ""
    parts: tuple[str, ...] = ()


@dataclass(frozen=True)
class ReplayFace:
    """The time bar of a replay."""

    state: str = ""
    at: str = ""
    of: str = ""
    fraction: float = 0.0


@dataclass(frozen=True)
class RideFace:
    """All that the ride view says at one moment."""

    consumption: HeroFace
    range: HeroFace
    cue: CueFace
    cells: tuple[TableCell, ...]
    notices: tuple[Notice, ...]
    age: tuple[str, ...]
    stale: bool = False
    has_target: bool = False
    replay: ReplayFace = field(default_factory=ReplayFace)


def hero(figure: Reading, units: Units, *, of_distance: bool, label: str, stale: bool) -> HeroFace:
    """Make a big figure of a consumption [Wh/km] or of a distance [m]."""

    def write(value: float) -> str:
        if of_distance:
            return big_distance(units.distance(value))
        return consumption_text(value, units)

    unit = units.distance_name if of_distance else units.consumption_name
    if figure.value is None:
        return HeroFace(unit=unit, label=label, why=figure.why)
    digits = write(figure.value)
    if abs(float(digits)) > LARGEST_SHOWN:
        return HeroFace(unit=unit, label=label, why="beyond 9999: hardly moving")
    interval = ""
    if figure.low is not None and figure.high is not None:
        interval = f"{write(figure.low)} to {write(figure.high)}"
    return HeroFace(digits, unit, label, interval, stale=stale)


def big_distance(distance: float) -> str:
    """Write a distance in three digits: two decimals below one, one below a hundred."""
    return three_figures(distance) if abs(distance) < 0.995 else one_decimal(distance)


def cue_face(
    snapshot: Snapshot | None, units: Units, target_distance_m: float | None, stale: bool
) -> CueFace:
    """Make the cue; a stale one is not shown, it would push a rider by what was."""
    target = part(snapshot, "target")
    if not target:
        if target_distance_m is None:
            return CueFace()
        wanted = f"{three_figures(units.distance(target_distance_m))} {units.distance_name}"
        return CueFace("", (f"target {wanted}: {reading(snapshot, 'target').why}",))
    if stale:
        return CueFace("", ("no cue: the data are stale",))
    raw = target.get("cue")
    word = raw if raw in CUES else ""
    to_go_m = number(target.get("distance_m"))
    needed = reading(target, "wh_per_km")
    difference = reading(target, "difference_fraction")
    said: list[str] = []
    if word and difference.value is not None:
        share = percent(abs(difference.value))
        said.append(f"{share} {'over' if difference.value > 0 else 'under'}")
    hold = reading(target, "speed_mps")
    if hold.value is not None:
        said.append(f"hold {one_decimal(units.speed(hold.value))} {units.speed_name}")
    elif needed.value is not None:
        said.append(f"aim {consumption_text(needed.value, units)} {units.consumption_name}")
    if to_go_m is not None:
        said.append(f"{three_figures(units.distance(to_go_m))} {units.distance_name} to go")
    if not word:
        said.insert(0, text_of(target.get("reason")) or f"no cue: {reading(target, 'cue').why}")
    return CueFace(word, tuple(said))


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
    return ReplayFace(
        state,
        clock_text(at_s) if at_s is not None else "",
        clock_text(duration_s) if duration_s is not None else "",
        min(1.0, max(0.0, at_s / duration_s)) if at_s is not None and duration_s else 0.0,
    )


def ride_face(
    snapshot: Snapshot | None,
    units: Units,
    *,
    since_received_s: float = 0.0,
    problem: str | None = None,
    source: str = "",
    target_distance_m: float | None = None,
) -> RideFace:
    """Make all that the ride view says.

    Parameters
    ----------
    snapshot
        The newest snapshot, or None before the first.
    units
        The rider's units.
    since_received_s
        How long ago the snapshot came [s].
    problem
        The source's sentence where it has no snapshot now.
    source
        What the source is called.
    target_distance_m
        Distance the rider wants to make, where one was set [m].
    """
    stale = snapshot is not None and is_stale(snapshot, since_received_s)
    cells = table_cells(snapshot, units)
    consumption = hero(
        reading(snapshot, "wh_per_km", "last_20_s"),
        units,
        of_distance=False,
        label="last 20 s",
        stale=stale,
    )
    reach = hero(
        reading(snapshot, "range_m", "now"), units, of_distance=True, label="range", stale=stale
    )
    return RideFace(
        consumption=consumption,
        range=reach,
        cue=cue_face(snapshot, units, target_distance_m, stale),
        cells=cells,
        notices=notices(
            snapshot,
            since_received_s=since_received_s,
            problem=problem,
            reasons=unknown_reasons(cells),
        ),
        age=age_parts(snapshot, since_received_s, source),
        stale=stale,
        has_target=target_distance_m is not None or bool(part(snapshot, "target")),
        replay=replay_face(snapshot),
    )
