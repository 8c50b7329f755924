"""The evidence for a ranking, as text: legs, weights, degrees of freedom, corrections."""

from collections.abc import Iterator
from fractions import Fraction

from groundside.reports.text_layout import hanging, short_names
from groundside.words.reasons import reason_text
from groundside.words.units import Units
from onboard.efficiency.trial.results import Comparison, Evidence


def evidence_lines(found: Comparison, units: Units) -> Iterator[str]:
    """Yield the lines."""
    evidence = found.evidence
    names = short_names(one.setup for one in evidence.legs)
    yield f"What it rests on (speeds in {units.speed_name}, over ground; +- one standard error):"
    yield "  run  set-up            course   took   power           speed           volts"
    for n, leg in enumerate(evidence.legs):
        yield (
            f"  {n + 1:3}  {names[leg.setup]:16}  {leg.course_deg:4.0f} deg  {leg.seconds_s:3.0f} s"
            f"  {leg.power_w:5.0f} +- {leg.power_sd_w:3.1f} W  "
            f"{units.speed(leg.speed_mps):5.2f} +- {units.speed(leg.speed_sd_mps):4.2f}  "
            f"{leg.volts_v:5.1f}"
        )
    yield ""
    yield from hanging(
        f"  Double runs, brought to {found.power_w:.0f} W and freed of the water's change "
        f"({units.speed_name}), each run with its weight:"
    )
    for double, speed in zip(evidence.doubles, evidence.speed_mps.tolist(), strict=True):
        runs = ", ".join(
            f"{n + 1} x {Fraction(weight).limit_denominator(64)}" for n, weight in double.parts
        )
        yield f"    {names[double.setup]:16}  runs {runs:28} {units.speed(speed):6.3f}"
    for one in evidence.left_out:
        runs = ", ".join(str(n + 1) for n in one.legs)
        yield f"    {names[one.setup]:16}  runs {runs}: left out as outlier"
    for alone in evidence.unpaired:
        yield f"    run {alone.leg + 1} stands alone: {reason_text(alone.why, units)}"
    yield ""
    for text in _statistics(found, evidence):
        yield from hanging(f"  {text}")


def _statistics(found: Comparison, evidence: Evidence) -> Iterator[str]:
    fit = evidence.levels
    if fit.freedom == 0:
        yield "How well a double run repeats is unknown (0 degrees of freedom)."
    else:
        how = "each set-up for itself, by Welch" if fit.own_variance is not None else "over all"
        yield (
            f"A double run repeats to {100 * fit.sd:.1f} % (one standard deviation, {how}; "
            f"degrees of freedom: {fit.freedom})."
        )
    if fit.with_drift:
        yield f"A drift of {100 * fit.drift_per_h:+.1f} % an hour in speed was taken out."
    for one in found.setups:
        by = round(100 * one.correction_fraction, 2) + 0.0
        yield (
            f"{one.name} was run at {one.run_power_w:.0f} W: its speed was changed by {by:+.2f} % "
            f"to bring it to {one.power_w:.0f} W."
        )
    source = "by the craft's own curve" if found.slope.learned else (
        "as is usual for small craft: runs at one power hardly tell the craft's own curve"
    )  # fmt: skip
    yield (
        f"For that, speed goes as power to the {found.slope.value:.2f} +- {found.slope.sd:.2f}, "
        f"{source}."
    )
