"""What a ranking rests on, printed with it: legs, weights, degrees of freedom, corrections."""

from collections.abc import Iterator
from fractions import Fraction

from groundside.units import Units
from onboard.efficiency.trial.results import Comparison, Evidence


def evidence_lines(found: Comparison, units: Units) -> Iterator[str]:
    """Give the lines."""
    evidence = found.evidence
    yield f"What it rests on (speeds in {units.speed_name}, over ground):"
    yield "  run  set-up            course   took   power           speed           volts"
    for n, leg in enumerate(evidence.legs):
        yield (
            f"  {n + 1:3}  {leg.setup[:16]:16}  {leg.course_deg:4.0f} deg  {leg.seconds_s:3.0f} s  "
            f"{leg.power_w:5.0f} +- {leg.power_sd_w:3.1f} W  "
            f"{units.speed(leg.speed_mps):5.2f} +- {units.speed(leg.speed_sd_mps):4.2f}  "
            f"{leg.volts_v:5.1f}"
        )
    yield ""
    yield (
        f"  double runs, brought to {found.power_w:.0f} W and freed of the water's change "
        f"({units.speed_name}):"
    )
    for double, speed in zip(evidence.doubles, evidence.speed_mps.tolist(), strict=True):
        runs = ", ".join(
            f"{n + 1} x {Fraction(weight).limit_denominator(64)}" for n, weight in double.parts
        )
        yield f"    {double.setup[:16]:16}  runs {runs:28} {units.speed(speed):6.3f}"
    for one in evidence.left_out:
        runs = ", ".join(str(n + 1) for n in one.legs)
        yield f"    {one.setup[:16]:16}  runs {runs}: left out as outlier"
    for alone in evidence.alone:
        yield f"    run {alone.leg + 1} stands alone: {alone.why}"
    yield ""
    yield from _statistics(found, evidence)


def _statistics(found: Comparison, evidence: Evidence) -> Iterator[str]:
    fit = evidence.levels
    if fit.freedom == 0:
        yield "  No degree of freedom is left to tell how well a double run repeats."
    else:
        how = "each set-up with its own scatter (Welch)" if fit.own_variance is not None else "all"
        yield (
            f"  A double run repeats to {100 * fit.sd:.1f} % (one standard deviation; "
            f"{fit.freedom} degrees of freedom, {how})."
        )
    if fit.with_drift:
        yield f"  A drift of {100 * fit.drift_per_h:+.1f} % an hour in speed was taken out."
    for one in found.setups:
        yield (
            f"  {one.name}: run at {one.run_power_w:.0f} W, its speed changed by "
            f"{100 * one.correction_fraction:+.2f} % for equal power."
        )
    source = "by the craft's own curve" if found.slope.learned else (
        "of what is usual: the curve was hardly learned, ride at a few powers"
    )  # fmt: skip
    yield (
        f"  For that, speed goes as power to the {found.slope.value:.2f} +- {found.slope.sd:.2f}: "
        f"{source}."
    )
