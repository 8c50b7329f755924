"""Afternoons with propellers as seconds: are runs found in them, and do the verdicts hold?"""

from dataclasses import dataclass
from typing import Any

from onboard.efficiency.trial.trial import NoTrial, trial_of
from onboard.profile import Sensors
from tests.craft.chance import generator
from tests.evaluation.propeller_days import Day
from tests.evaluation.propeller_kinds import KINDS, drawn
from tests.evaluation.propeller_seconds import rides_of
from tests.evaluation.propeller_verdicts import said, verdicts


@dataclass(frozen=True)
class Ridden:
    """A kind of afternoon, and the order of its set-ups by letter."""

    kind: str
    order: str


KINDS_RIDDEN = {
    "two equal": Ridden("two equal", "abbaabba"),
    "0.15 m/s across": Ridden("0.15 m/s across", "abbaabba"),
    "0.3 m/s across": Ridden("0.3 m/s across", "abbaabba"),
    "gusts": Ridden("gusts", "abccbaabccba"),
    "a step between runs": Ridden("a step between runs", "abccbaabccba"),
    "two equal, laps": Ridden("two equal, laps", "abbaabba"),
    "seven equal, laps": Ridden("seven equal, laps", "abcdefggfedcbaabcdefg"),
    "gusts, laps": Ridden("gusts, laps", "abccbaabccba"),
    "best of seven 6 % ahead, laps of 1.5 %": Ridden(
        "best of seven 6 % ahead, laps of 1.5 %", "abcdefggfedcbaabcdefg"
    ),
}
MARKED, UNMARKED = "each run marked", "set-ups marked"
VARIANTS = {f"{name}: {how}": 1.0 for name in KINDS_RIDDEN for how in (MARKED, UNMARKED)}


def ride(seed: int, craft: str | None, variant: str) -> dict[str, Any]:
    """Ride an afternoon second by second, and compare its set-ups."""
    del craft
    name, how = variant.split(": ")
    ridden = KINDS_RIDDEN[name]
    day = Day(drawn(KINDS[ridden.kind], generator(seed, "afternoon")), generator(seed, "runs"))
    for setup in ridden.order:
        day.ride(setup)
    found = trial_of(rides_of(day, generator(seed, "seconds"), marked=how == MARKED), Sensors())
    if isinstance(found, NoTrial):
        return said(day, found.why)
    counted = sum(one.runs // 2 + one.laps for one in found.comparison.setups)
    said_so = said(day, found.comparison, [one.code.code for one in found.cautions])
    return said_so | {"runs": counted}


def table(rows: list[dict[str, Any]]) -> str:
    """Return false claims, coverage and what was told, by kind of day."""
    names = [tuple(variant.split(": ")) for variant in VARIANTS]
    days = {
        (name, how): [row for row in rows if row["variant"] == f"{name}: {how}"]
        for name, how in names
    }
    return verdicts("afternoons with propellers, as seconds", "marks", days)
