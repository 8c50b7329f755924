"""Run the command `plan`."""

import argparse
from pathlib import Path

from groundside.reports.log_progress import progress_bar
from groundside.reports.plan.learned_curve import LearnedCurve, learned_curve
from groundside.reports.plan.plan_json import as_json
from groundside.reports.plan.plan_output import as_lines
from groundside.reports.plan.planned_pack import Planned, PlannedPack
from groundside.reports.text_layout import print_report
from groundside.studies.leg import Leg
from groundside.studies.pack_supply import Packs, with_energy
from groundside.studies.plan import best_row, load_factor, plan_rows, too_far
from groundside.studies.plan_limits import leave_with_fraction, turn_round_m
from groundside.studies.trip_practice import LIKELY_FRACTION, SURE_FRACTION
from groundside.studies.way_ahead import Way
from groundside.words.figures import speed_text
from groundside.words.units import Units, units_named
from onboard.contract.figure import Unknown
from onboard.errors import UsageError
from onboard.options import default_record
from onboard.profile import Profile, load_profile, profile_for

CANNOT_ARRIVE = 1
"""Exit code if no learned speed arrives with enough confidence."""

CHANCES = (LIKELY_FRACTION, SURE_FRACTION)
"""Chances for which the limits of a trip are given."""


def run_plan(arguments: argparse.Namespace) -> int:
    """Plan a trip and print it; return the exit code.

    Raises
    ------
    UsageError
        If a required input is missing.
    """
    way = _way(arguments)
    source: Path = arguments.curve or default_record()
    profile = _profile(arguments.profile, source)
    if profile.battery is None:
        raise UsageError("plan: the craft profile has no [battery]: give one with --profile")
    units = units_named(arguments.units or profile.units.speed)
    with progress_bar([source]) as progress:
        curve = learned_curve(source, arguments.setup, profile, progress)
    speeds_mps = arguments.speed_mps or []
    _refuse_far(curve, way, speeds_mps, units)
    batteries = [with_energy(profile.battery, wh) for wh in arguments.battery_wh or [None]]
    count, degc = arguments.packs, arguments.pack_degc
    packs = [
        _plan_pack(curve, Packs(battery, profile.sensors, count, degc), way, speeds_mps)
        for battery in batteries
    ]
    is_over_ground = curve.knowledge.is_over_ground(way)
    plan = Planned(way, f"set-up {curve.setup!r}, {curve.source}", is_over_ground, tuple(packs))
    print_report(arguments.json, lambda: as_json(plan), as_lines(plan, units))
    return 0 if any(pack.arrives for pack in packs) else CANNOT_ARRIVE


def _way(arguments: argparse.Namespace) -> Way:
    water, wind = arguments.head_current_mps, arguments.headwind_mps
    if arguments.leg and not (water is None and wind is None):
        raise UsageError("--leg: states its own water and wind, as in --help")
    legs = tuple(arguments.leg or [Leg(arguments.distance_m, water, wind)])
    factor = _load_factor(arguments.mass_kg, arguments.extra_mass_kg)
    return Way(legs, arguments.there_and_back, factor)


def _profile(given: Path | None, source: Path) -> Profile:
    """Return the given profile, else the newest one stored beside the curve's source."""
    if given is not None:
        return load_profile(given)
    if source.is_dir() and not (source / "profile.toml").is_file():
        profiles = sorted(source.glob("*/profile.toml"), key=lambda path: path.stat().st_mtime)
        if profiles:
            return load_profile(profiles[-1])
    return profile_for(None, source)


def _load_factor(mass_kg: float | None, extra_kg: float) -> float:
    if not extra_kg:
        return 1.0
    if mass_kg is None:
        raise UsageError("--extra-mass-kg: say with --mass-kg what all of it weighed before")
    if mass_kg + extra_kg <= 0.0:
        raise UsageError("--extra-mass-kg: takes away more than --mass-kg")
    return load_factor(mass_kg, extra_kg)


def _refuse_far(curve: LearnedCurve, way: Way, speeds_mps: list[float], units: Units) -> None:
    known = curve.knowledge.curve(way)
    low, high = (speed_text(speed_mps, units) for speed_mps in known.seen_mps)
    for speed_mps in speeds_mps:
        if too_far(known, speed_mps):
            raise UsageError(
                f"--speed-mps {speed_mps:g}: too far from the speeds ridden, {low} to {high}, to "
                "say anything: give one within half the lowest and twice the highest"
            )


def _plan_pack(curve: LearnedCurve, packs: Packs, way: Way, speeds_mps: list[float]) -> PlannedPack:
    known, supply = curve.knowledge, packs.supply()
    rows = plan_rows(known, supply, way, speeds_mps)
    if isinstance(rows, Unknown):
        return PlannedPack(packs, rows)
    best_mps = best_row(rows).through_water_mps
    leave = {chance: leave_with_fraction(known, packs, way, best_mps, chance) for chance in CHANCES}
    turn = {
        chance: turn_round_m(known, supply, way, best_mps, chance)
        for chance in CHANCES
        if way.there_and_back
    }
    return PlannedPack(packs, rows, leave, turn)
