"""Battery power against its target, in one row."""

from groundside.dashboard.content.runs import PowerCue
from groundside.dashboard.drawing.painted import Line, shortened

CUE_SIGNS = {"ease": "vv", "hold": "==", "push": "^^"}
"""As in the ride view's one-row cue."""


def power_cue_line(power: PowerCue, width: int) -> Line:
    """Write the power against its target, with the cue's signs and words."""
    if not power.target:
        text = f" {power.power} now, no power target"
        return [(shortened(text, width), "runs--text")]
    line: Line = [(f" {power.power}", "runs--head"), (f" of {power.target} ", "runs--text")]
    if not power.cue:
        used = sum(len(text) for text, _ in line)
        return [*line, (shortened(power.difference, width - used), "runs--quiet")]
    sign = CUE_SIGNS[power.cue]
    cue = f" {sign} {power.cue.upper()} {sign} "
    used = sum(len(text) for text, _ in line) + len(cue)
    beside = f" {power.difference}" if used + len(power.difference) < width else ""
    return [*line, (cue, "runs--cue"), (beside, "runs--text")]
