"""Run the command `plan`."""

import argparse
from pathlib import Path

from groundside.reports.log_progress import progress_bar
from groundside.reports.plan.learned_curve import LearnedCurve, learned_curve
from groundside.reports.plan.plan_output import PackPlan, as_json, as_lines
from groundside.reports.text_layout import print_report
from groundside.studies.pack_supply import supply_of, with_energy
from groundside.studies.plan import Way, load_factor, plan_rows
from groundside.words.units import units_named
from onboard.errors import UsageError
from onboard.options import default_record
from onboard.profile import Battery, Profile, load_profile, profile_for

CANNOT_ARRIVE = 1
"""Exit code if no learned speed arrives with enough confidence."""


def run_plan(arguments: argparse.Namespace) -> int:
    """Plan a trip and print it; return the exit code.

    Raises
    ------
    UsageError
        If a required input is missing.
    """
    source: Path = arguments.curve or default_record()
    profile = _profile(arguments.profile, source)
    if profile.battery is None:
        raise UsageError("plan: the craft profile has no [battery]: give one with --profile")
    units = units_named(arguments.units or profile.units.speed)
    with progress_bar([source]) as progress:
        curve = learned_curve(source, arguments.setup, profile, progress)
    way = Way(
        arguments.distance_m,
        arguments.head_current_mps,
        arguments.there_and_back,
        _load_factor(arguments.mass_kg, arguments.extra_mass_kg),
    )
    packs = [
        with_energy(profile.battery, energy_wh) for energy_wh in arguments.battery_wh or [None]
    ]
    plans = [_pack_plan(curve, pack, profile, way, arguments.speed_mps or []) for pack in packs]
    lines = as_lines(plans, way, f"set-up {curve.setup!r}, {curve.source}", units)
    print_report(arguments.json, lambda: as_json(plans), lines)
    return 0 if any(plan.arrives for plan in plans) else CANNOT_ARRIVE


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


def _pack_plan(
    curve: LearnedCurve, battery: Battery, profile: Profile, way: Way, speeds_mps: list[float]
) -> PackPlan:
    rows = plan_rows(curve.posterior, supply_of(battery, profile.sensors), way, speeds_mps)
    return PackPlan(battery.full_wh, battery.start_fraction, rows)
