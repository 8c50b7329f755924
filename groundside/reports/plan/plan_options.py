"""The command `plan` and its options; `plan_command` runs it."""

import argparse
from pathlib import Path
from typing import Final

from groundside.interrupts import interrupts_held
from groundside.options import add_units
from groundside.reports.plan.leg_option import EXAMPLE, FASTEST_MPS, WATER, WIND, leg_of
from onboard.options import Command, add_json, add_profile, number_between, whole_number

PACKS_MOST = 16


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    _add_way(parser)
    _add_battery(parser)
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


def _add_way(parser: argparse.ArgumentParser) -> None:
    length = parser.add_mutually_exclusive_group(required=True)
    length.add_argument(
        "--distance-m",
        type=number_between(1, 1e6),
        metavar="M",
        help="how far it is from here to there [m]",
    )
    length.add_argument(
        "--leg",
        type=leg_of,
        metavar="LEG",
        action="append",
        help=f"a leg with its own water and wind against you, such as {EXAMPLE}; once for each",
    )
    parser.add_argument("--there-and-back", action="store_true", help="and the same way back")
    parser.add_argument(
        "--head-current-mps",
        type=number_between(-FASTEST_MPS[WATER], FASTEST_MPS[WATER]),
        metavar="U",
        help="how fast the water comes against you on the way there; negative helps [m/s]",
    )
    parser.add_argument(
        "--headwind-mps",
        type=number_between(-FASTEST_MPS[WIND], FASTEST_MPS[WIND]),
        metavar="W",
        help="how fast the wind blows against you on the way there; negative helps: more power "
        "by a rule, not by measurement [m/s]",
    )


def _add_battery(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--battery-wh",
        type=number_between(1, 1e5),
        metavar="WH",
        action="append",
        help="energy of the full pack, in place of the profile's; once for each pack to compare",
    )
    parser.add_argument(
        "--packs",
        type=whole_number(1, PACKS_MOST),
        metavar="N",
        default=1,
        help="how many such packs are aboard, used one after the other",
    )
    parser.add_argument(
        "--pack-degc",
        type=number_between(-30, 60),
        metavar="T",
        help="temperature of the packs: cold ones give less, by a rule, not by measurement [degC]",
    )


def run(arguments: argparse.Namespace) -> int:
    """Run the command; return the exit code."""
    with interrupts_held():
        from groundside.reports.plan.plan_command import run_plan

    return run_plan(arguments)


PLAN: Final = Command(
    "plan",
    "plan the next trip from what was learned",
    "wattwake-groundside plan --distance-m 20000 --there-and-back",
    add_arguments,
    run,
)
