"""State saved from one run of the daemon to the next: learned curves and the battery's count.

One file beside the sessions. The count continues in any case; the autopilot's clocks show how long
nothing was recorded, and whether the autopilot kept running meanwhile: if so, it is the same trip.
"""

import json
import logging
import math
from dataclasses import asdict
from pathlib import Path
from typing import Any

from onboard.dataclass import dataclass
from onboard.efficiency.battery.recharge import Away
from onboard.files.whole_file import write_whole

FILE_NAME = "learned.json"
SCHEMA = 1

SAME_CLOCK_S = 60.0
"""Largest difference between the autopilot's two clocks over a pause [s]."""

LONGEST_S = 3 * 3600.0
"""Longest pause within a trip if no time of day is known [s]."""

DIGITS_MOST = 18
"""Most digits of an integer in the file: real ones have fewer, and hundreds overflow a float."""

log = logging.getLogger("wattwake")


@dataclass(frozen=True)
class Clocks:
    """The autopilot's clocks and charge counter at one moment; NaN where unknown.

    Parameters
    ----------
    boot_s
        Time since it started [s].
    utc_s
        Unix time [s].
    counter_ah
        Charge drawn since it started, corrected [Ah].
    """

    boot_s: float
    utc_s: float
    counter_ah: float


def load(directory: Path) -> dict[str, Any] | None:
    """Return the state saved in a directory; None, with a log line, if none is usable."""
    path = directory / FILE_NAME
    try:
        saved = json.loads(path.read_text(encoding="utf-8"), parse_int=_whole)
    except FileNotFoundError:
        return None
    except (OSError, ValueError, RecursionError) as problem:
        log.warning("%s: not readable (%s): starting without what was learned", path, problem)
        return None
    if not isinstance(saved, dict) or saved.get("schema") != SCHEMA:
        log.warning("%s: of another version: starting without what was learned", path)
        return None
    return saved


def _whole(text: str) -> int:
    if len(text) > DIGITS_MOST:
        raise ValueError(f"a number of {len(text)} digits")
    return int(text)


def save(directory: Path, saved: dict[str, Any]) -> None:
    """Write the state atomically.

    Raises
    ------
    OSError
        If it cannot be written; the previous state stays.
    """
    text = json.dumps({"schema": SCHEMA, **saved}, allow_nan=False)
    write_whole(directory / FILE_NAME, text)


def clocks_as_dict(clocks: Clocks) -> dict[str, float | None]:
    """Return the clocks in JSON's own types."""
    return {key: value if math.isfinite(value) else None for key, value in asdict(clocks).items()}


def same_trip(saved: dict[str, Any], now: Clocks) -> bool:
    """Return whether the autopilot kept running since a saved state.

    Examples
    --------
    >>> before = {"clocks": {"boot_s": 600.0, "utc_s": 1.75e9, "counter_ah": 2.0}}
    >>> same_trip(before, Clocks(630.0, 1.75e9 + 30.0, 2.2))
    True
    >>> same_trip(before, Clocks(20.0, 1.75e9 + 30.0, 0.0))
    False
    """
    return kept_running(clocks_of(saved), now)


def kept_running(before: Clocks, now: Clocks) -> bool:
    """Return whether the autopilot kept running from one moment to another.

    If either lacks the time of day, the boot clock alone decides, for pauses up to `LONGEST_S`.
    """
    gone_s = now.boot_s - before.boot_s
    if not gone_s >= -1.0:
        return False
    by_day_s = now.utc_s - before.utc_s
    if math.isfinite(by_day_s):
        return abs(by_day_s - gone_s) < SAME_CLOCK_S
    return gone_s < LONGEST_S


def away_since(saved: dict[str, Any], began: Clocks) -> Away:
    """Return the time without a record from a saved state until a stream began.

    Examples
    --------
    >>> before = {"clocks": {"boot_s": 600.0, "utc_s": 1.75e9, "counter_ah": 2.0}}
    >>> away_since(before, Clocks(20.0, 1.75e9 + 3600.0, 0.0)).pause_s
    3600.0
    >>> away_since(before, Clocks(20.0, float("nan"), 0.0)).pause_s
    nan
    """
    before, was_running = clocks_of(saved), same_trip(saved, began)
    pause_s = began.utc_s - before.utc_s
    if not math.isfinite(pause_s) and was_running:
        pause_s = began.boot_s - before.boot_s
    # A time of day that went back was set meanwhile, or is wrong: it is no evidence.
    return Away(max(pause_s, 0.0) if pause_s > -SAME_CLOCK_S else math.nan, was_running)


def clocks_of(saved: dict[str, Any]) -> Clocks:
    """Return the autopilot's clocks at the time of a saved state."""
    stored = saved.get("clocks")
    values = stored if isinstance(stored, dict) else {}

    def number(key: str) -> float:
        value = values.get(key)
        return float(value) if isinstance(value, (int, float)) else math.nan

    return Clocks(number("boot_s"), number("utc_s"), number("counter_ah"))
