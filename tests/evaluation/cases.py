"""The cases, a row each: the simulation of a ride, the number of rides, the table."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from tests.evaluation import (
    agreement,
    alarms,
    at_anchor,
    called_back,
    coached_days,
    coverage,
    five_rides,
    learned_pack,
    one_line,
    planned_trip,
    remaining_range,
    seconds_days,
    set_and_drift,
    set_ups,
    sources,
    target_cue,
    turn_back,
)
from tests.evaluation.results import Job

Ride = Callable[[int, str | None, str], dict[str, Any]]
Table = Callable[[list[dict[str, Any]]], str]


@dataclass(frozen=True)
class Case:
    """One question about the engine."""

    about: str
    ride: Ride
    table: Table
    share: float = 1.0
    """Share of `--count` for the largest variant."""
    variants: Mapping[str, float] = field(default_factory=lambda: {"": 1.0})
    """Kinds of rides, each with its share of the rides."""


CASES: dict[str, Case] = {
    "coverage": Case(
        "do the 95 % intervals hold, and how wide are they",
        coverage.ride,
        coverage.table,
        1.0,
        coverage.VARIANTS,
    ),
    "agreement": Case(
        "do all figures of one moment agree",
        agreement.ride,
        agreement.table,
        1.0,
        agreement.VARIANTS,
    ),
    "sources": Case(
        "does an interval shrink by its share when a source of error is taken away",
        sources.ride,
        sources.table,
        0.1,
        dict.fromkeys((sources.WITH_ALL, *sources.SWITCHED_OFF), 1.0),
    ),
    "range": Case(
        "how far off is the remaining range",
        remaining_range.ride,
        remaining_range.table,
        1.0,
        remaining_range.VARIANTS,
    ),
    "turn_back": Case(
        "does one who follows 'turn back' come home, and with how much",
        turn_back.ride,
        turn_back.table,
        1.0,
        turn_back.VARIANTS,
    ),
    "called_back": Case(
        "is a craft without an earlier curve called back at once",
        called_back.ride,
        called_back.table,
        0.1,
        called_back.VARIANTS,
    ),
    "five_rides": Case(
        "hard rides, by the engine and by Wh left over mean Wh/km",
        five_rides.ride,
        five_rides.table,
        0.01,
        five_rides.VARIANTS,
    ),
    "target": Case(
        "does one who follows the cue arrive with the reserve, and how fast",
        target_cue.ride,
        target_cue.table,
        1.0,
        target_cue.VARIANTS,
    ),
    "set_and_drift": Case(
        "how far off is the water current where it is claimed",
        set_and_drift.ride,
        set_and_drift.table,
        0.6,
        set_and_drift.VARIANTS,
    ),
    "alarms": Case(
        "how many alarms are false, and do those of faults come in time",
        alarms.ride,
        alarms.table,
        0.3,
        alarms.VARIANTS,
    ),
    "at_anchor": Case(
        "does a craft that lies still make no way",
        at_anchor.ride,
        at_anchor.table,
        0.1,
        at_anchor.VARIANTS,
    ),
    "one_line": Case(
        "is no water invented where courses do not determine it",
        one_line.ride,
        one_line.table,
        0.5,
        one_line.VARIANTS,
    ),
    "planned_trip": Case(
        "do a plan's chances to arrive hold",
        planned_trip.ride,
        planned_trip.table,
        0.5,
        planned_trip.VARIANTS,
    ),
    "learned_pack": Case(
        "what is learned of a pack from ride to ride, and do its intervals hold",
        learned_pack.ride,
        learned_pack.table,
        0.3,
        learned_pack.VARIANTS,
    ),
    "set_ups": Case(
        "are set-ups compared fairly, and the traps named",
        set_ups.ride,
        set_ups.table,
        1.0,
        set_ups.VARIANTS,
    ),
    "coached_days": Case(
        "what is claimed of propellers as the coach ends an afternoon",
        coached_days.ride,
        coached_days.table,
        0.4,
        coached_days.VARIANTS,
    ),
    "seconds_days": Case(
        "the same from seconds, runs marked or found",
        seconds_days.ride,
        seconds_days.table,
        0.4,
        seconds_days.VARIANTS,
    ),
}


def jobs(name: str, seed: int, count: int, craft: str | None) -> list[Job]:
    """Return the rides of a case; the same arguments give the same rides."""
    case = CASES[name]
    return [
        Job(name, seed * 1_000_003 + index, craft, variant)
        for variant, part in case.variants.items()
        for index in range(max(round(count * case.share * part), 1))
    ]
