"""What the ride view says: a snapshot, its age and the rider's units become plain texts.

No screen code is here, so that every text can be tested without a terminal. Texts are made at the
precision that is shown; equal texts are not painted again.
"""

from dataclasses import dataclass
from typing import Any

from groundside.dashboard.cells import TableCell, table_cells
from groundside.dashboard.faces.setups import PLAIN
from groundside.dashboard.scene import Scene
from groundside.figures import (
    UNKNOWN,
    Reading,
    consumption_text,
    number,
    one_decimal,
    part,
    percent,
    reading,
    text_of,
    three_figures,
    whole,
)
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
    """The cue: `ease`, `hold`, `push` or `turn`, or empty with the reason in the text."""

    word: str = ""
    parts: tuple[str, ...] = ()


@dataclass(frozen=True)
class RideFace:
    """All that the ride view says at one moment."""

    consumption: HeroFace
    range: HeroFace
    cue: CueFace
    cells: tuple[TableCell, ...]
    stale: bool = False
    has_cue: bool = False


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


def cue_face(scene: Scene) -> CueFace:
    """Make the cue; a stale one is not shown, it would push a rider by what was."""
    snapshot, units = scene.snapshot, scene.units
    if part(snapshot, "home").get("turn_back") is True and not scene.stale:
        return CueFace("turn", ("back home now", "what is left is what the way takes"))
    target = part(snapshot, "target")
    if not target:
        if scene.target_distance_m is None:
            return CueFace("", run_parts(snapshot, stale=scene.stale))
        wanted = f"{three_figures(units.distance(scene.target_distance_m))} {units.distance_name}"
        return CueFace("", (f"target {wanted}: {reading(snapshot, 'target').why}",))
    if scene.stale:
        return CueFace("", ("no cue: the data are stale",))
    raw = target.get("cue")
    word = raw if raw in CUES else ""
    difference = reading(target, "difference_fraction")
    said: list[str] = []
    if word and difference.value is not None:
        said.append(difference_text(difference.value))
    said += _wanted(target, units)
    if not word:
        said.insert(0, text_of(target.get("reason")) or f"no cue: {reading(target, 'cue').why}")
    return CueFace(word, (*said, *run_parts(snapshot)))


def difference_text(fraction: float) -> str:
    """Say how far off the target something is.

    Examples
    --------
    >>> difference_text(0.09), difference_text(-0.12), difference_text(0.004)
    ('9 % over', '12 % under', 'on target')
    """
    share = percent(abs(fraction))
    if share == "0 %":
        return "on target"
    return f"{share} {'over' if fraction > 0 else 'under'}"


def _wanted(target: dict[str, Any], units: Units) -> list[str]:
    """Say what is to be held, and how far it is still to go."""
    said = []
    power, speed, cost = (reading(target, key) for key in ("power_w", "speed_mps", "wh_per_km"))
    if power.value is not None:
        said.append(f"hold {whole(power.value)} W")
    elif speed.value is not None:
        said.append(f"hold {one_decimal(units.speed(speed.value))} {units.speed_name}")
    elif cost.value is not None:
        said.append(f"aim {consumption_text(cost.value, units)} {units.consumption_name}")
    to_go_m = number(target.get("distance_m"))
    if to_go_m is not None:
        said.append(f"{three_figures(units.distance(to_go_m))} {units.distance_name} to go")
    return said


def run_parts(snapshot: Snapshot | None, *, stale: bool = False) -> tuple[str, ...]:
    """Say how the run that goes on does, the most wanted first; nothing where none does."""
    runs = snapshot.get("runs") if snapshot is not None else None
    run = runs[-1] if isinstance(runs, list) and runs else None
    if not isinstance(run, dict) or run.get("open") is not True:
        return ()
    setup = text_of(run.get("setup"))
    name = f"run {number(run.get('number')) or 0:.0f} {'' if setup == PLAIN else setup}".strip()
    if stale:
        return (f"{name} is open", "the data are stale")
    if run.get("long_enough") is True:
        return ("long enough", name)
    # of the run itself: what was held before it began does not count
    return (f"steady for {number(run.get('steady_s')) or 0:.0f} s", name)


def ride_face(scene: Scene) -> RideFace:
    """Make all that the ride view says.

    Parameters
    ----------
    scene
        What is so now.
    """
    snapshot, units, stale = scene.snapshot, scene.units, scene.stale
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
    cue = cue_face(scene)
    return RideFace(
        consumption=consumption,
        range=reach,
        cue=cue,
        cells=table_cells(snapshot, units),
        stale=stale,
        has_cue=cue != CueFace(),
    )
