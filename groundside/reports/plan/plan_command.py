"""The command `plan`."""

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING, Final

from groundside.options import add_units
from onboard.errors import UsageError
from onboard.options import Command, add_json, add_profile, default_record, number_between
from onboard.profile import Battery, Profile, load_profile, profile_for

if TYPE_CHECKING:
    from groundside.reports.plan.learned_curve import LearnedCurve
    from groundside.reports.plan.plan_output import Planned
    from groundside.studies.plan import Way

CANNOT_ARRIVE = 1
"""The exit code where no speed that was learned surely arrives."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.add_argument(
        "--distance-m",
        type=number_between(1, 1e6),
        metavar="M",
        required=True,
        help="how far it is from here to there [m]",
    )
    parser.add_argument("--there-and-back", action="store_true", help="and the same way back")
    parser.add_argument(
        "--head-current-mps",
        type=number_between(-20, 20),
        metavar="U",
        default=0.0,
        help="how fast the water comes against you on the way there; negative helps [m/s]",
    )
    parser.add_argument(
        "--battery-wh",
        type=number_between(1, 1e5),
        metavar="WH",
        action="append",
        help="energy of the full pack, in place of the profile's; once for each pack to compare",
    )
    parser.add_argument(
        "--from",
        dest="curve",
        type=Path,
        metavar="PATH",
        help="learn the curve from this log or session; else what the daemon keeps is used",
    )
    parser.add_argument("--setup", metavar="LABEL", help="the set-up to go with")
    parser.add_argument(
        "--speed-mps",
        type=number_between(0.1, 50),
        metavar="V",
        action="append",
        help="look at this speed through the water as well, beyond those seen too",
    )
    parser.add_argument(
        "--mass-kg", type=number_between(1, 1e5), metavar="KG", help="craft, rider and pack [kg]"
    )
    parser.add_argument(
        "--extra-mass-kg",
        type=number_between(-1e4, 1e4),
        metavar="KG",
        default=0.0,
        help="how much heavier it will be: more power by a rule, not by measurement [kg]",
    )
    add_profile(parser)
    add_json(parser)
    add_units(parser)


def run_plan(arguments: argparse.Namespace) -> int:
    """Plan a trip and print it; return the exit code.

    Raises
    ------
    UsageError
        If something that is needed is missing.
    """
    from groundside.reports.plan.learned_curve import learned_curve
    from groundside.reports.plan.plan_output import as_json, as_lines
    from groundside.reports.progress import progress_bar
    from groundside.reports.review.many import size_bytes
    from groundside.studies.pack_supply import with_energy
    from groundside.studies.plan import Way
    from groundside.words.units import units_named

    source: Path = arguments.curve or default_record()
    profile = _profile(arguments.profile, source)
    if profile.battery is None:
        raise UsageError("plan: the craft profile has no [battery]: give one with --profile")
    units = units_named(arguments.units or profile.units.speed)
    with progress_bar(size_bytes(source), f"reading {source.name}") as progress:
        curve = learned_curve(source, arguments.setup, profile, progress)
    way = Way(
        arguments.distance_m,
        arguments.head_current_mps,
        arguments.there_and_back,
        _load(arguments.mass_kg, arguments.extra_mass_kg),
    )
    packs = [
        with_energy(profile.battery, energy_wh) for energy_wh in arguments.battery_wh or [None]
    ]
    plans = [_planned(curve, battery, profile, way, arguments.speed_mps) for battery in packs]
    if arguments.json:
        print(json.dumps(as_json(plans), indent=2, allow_nan=False))
    else:
        for line in as_lines(plans, way, f"set-up {curve.setup!r}, {curve.source}", units):
            print(line)
    return 0 if any(plan.arrives for plan in plans) else CANNOT_ARRIVE


def _profile(given: Path | None, source: Path) -> Profile:
    """Return the profile that was named, else one kept beside the curve's source."""
    if given is not None:
        return load_profile(given)
    if source.is_dir() and not (source / "profile.toml").is_file():
        kept = sorted(source.glob("*/profile.toml"), key=lambda path: path.stat().st_mtime)
        if kept:
            return load_profile(kept[-1])
    return profile_for(None, source)


def _load(mass_kg: float | None, extra_kg: float) -> float:
    from groundside.studies.plan import load_factor

    if not extra_kg:
        return 1.0
    if mass_kg is None:
        raise UsageError("--extra-mass-kg: say with --mass-kg what all of it weighed before")
    if mass_kg + extra_kg <= 0.0:
        raise UsageError("--extra-mass-kg: takes away more than --mass-kg")
    return load_factor(mass_kg, extra_kg)


def _planned(
    curve: "LearnedCurve", battery: Battery, profile: Profile, way: "Way", more: list[float] | None
) -> "Planned":
    from groundside.reports.plan.plan_output import Planned
    from groundside.studies.pack_supply import supply_of
    from groundside.studies.plan import plan_rows

    rows = plan_rows(curve.known, supply_of(battery, profile.sensors), way, more or ())
    return Planned(battery.full_wh, battery.start_fraction, rows)


PLAN: Final = Command(
    "plan",
    "plan the next trip from what was learned",
    "plan the next trip from what was learned",
    "wattwake-groundside plan --distance-m 20000 --there-and-back",
    add_arguments,
    run_plan,
)
