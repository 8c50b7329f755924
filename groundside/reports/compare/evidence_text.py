"""The evidence for a ranking, as text: legs, weights, degrees of freedom, corrections."""

from collections.abc import Iterator
from fractions import Fraction

from groundside.reports.text_layout import hanging, short_names
from groundside.words.reasons import reason_text
from groundside.words.units import Units
from onboard.efficiency.trial.leg import Leg
from onboard.efficiency.trial.results import Comparison, Evidence


def evidence_lines(found: Comparison, units: Units) -> Iterator[str]:
    """Yield the lines."""
    evidence = found.evidence
    names = short_names(one.setup for one in evidence.legs)
    yield f"What it rests on (speeds in {units.speed_name}, over ground; +- one standard error):"
    yield "  run  set-up            course     took   power           speed           volts"
    for n, leg in enumerate(evidence.legs):
        yield (
            f"  {n + 1:3}  {names[leg.setup]:16}  {_course(leg):>9}"
            f"  {leg.seconds_s:3.0f} s"
            f"  {leg.power_w:5.0f} +- {leg.power_sd_w:3.1f} W  "
            f"{units.speed(leg.speed_mps):5.2f} +- {units.speed(leg.speed_sd_mps):4.2f}  "
            f"{leg.volts_v:5.1f}"
        )
    yield ""
    kind = runs_word(found)
    freed = "" if kind == "laps" else " and freed of the water's change"
    yield from hanging(
        f"  {kind.capitalize()}, brought to {found.power_w:.0f} W{freed} ({units.speed_name}), "
        "each run with its weight:"
    )
    for double, speed in zip(evidence.doubles, evidence.speed_mps.tolist(), strict=True):
        runs = "runs " + ", ".join(
            f"{n + 1} x {Fraction(weight).limit_denominator(64)}" for n, weight in double.parts
        )
        if double.is_lap:
            runs = f"run {double.legs[0] + 1}, a lap"
        yield f"    {names[double.setup]:16}  {runs:33} {units.speed(speed):6.3f}"
    for one in evidence.left_out:
        runs = ", ".join(str(n + 1) for n in one.legs)
        yield f"    {names[one.setup]:16}  runs {runs}: left out as outlier"
    for alone in evidence.unpaired:
        yield f"    run {alone.leg + 1} stands alone: {reason_text(alone.why, units)}"
    yield ""
    for text in _statistics(found, evidence):
        yield from hanging(f"  {text}")


def runs_word(found: Comparison) -> str:
    """Return what the comparison counts: double runs, laps, or both."""
    kinds = {double.is_lap for double in found.evidence.doubles}
    if kinds == {True}:
        return "laps"
    return "double runs" if kinds == {False} else "double runs and laps"


def _course(leg: Leg) -> str:
    return f"lap {leg.lap_m:.0f} m" if leg.lap_m > 0.0 else f"{leg.course_deg:.0f} deg"


def _statistics(found: Comparison, evidence: Evidence) -> Iterator[str]:
    fit = evidence.levels
    one = "lap" if runs_word(found) == "laps" else "double run"
    if fit.freedom == 0:
        yield f"How well a {one} repeats is unknown (0 degrees of freedom)."
    else:
        how = "each set-up for itself, by Welch" if fit.own_variance is not None else "over all"
        yield (
            f"A {one} repeats to {100 * fit.sd:.1f} % (one standard deviation, {how}; "
            f"degrees of freedom: {fit.freedom})."
        )
    if fit.with_drift:
        yield f"A drift of {100 * fit.drift_per_h:+.1f} % an hour in speed was taken out."
    for setup in found.setups:
        by = round(100 * setup.correction_fraction, 2) + 0.0
        yield (
            f"{setup.name} was run at {setup.run_power_w:.0f} W: its speed was changed by "
            f"{by:+.2f} % to bring it to {setup.power_w:.0f} W."
        )
    source = "by the craft's own curve" if found.slope.learned else (
        "as is usual for small craft: runs at one power hardly tell the craft's own curve"
    )  # fmt: skip
    yield (
        f"For that, speed goes as power to the {found.slope.value:.2f} +- {found.slope.sd:.2f}, "
        f"{source}."
    )
