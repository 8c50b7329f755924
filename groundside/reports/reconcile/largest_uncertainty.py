"""The largest uncertainty of a reconciliation, and what would halve it."""

import math

from groundside.studies.charge_errors import Source
from groundside.studies.reconciliation import Reconciled
from onboard.contract.remarks import Remark, RemarkCode
from onboard.efficiency.statistics.shared_errors import Z_95

PLAIN = {
    Source.METER: RemarkCode.BY_METER,
    Source.RETURNED: RemarkCode.BY_RETURNED_CHARGE,
    Source.UNLOGGED: RemarkCode.BY_UNLOGGED,
    Source.GAPS: RemarkCode.BY_GAPS,
    Source.ZERO: RemarkCode.BY_CURRENT_OFFSET,
    Source.VOLTAGE: RemarkCode.BY_VOLTAGE_SCALE,
    Source.LOSSES: RemarkCode.BY_PACK_LOSSES,
    Source.CHARGER: RemarkCode.BY_CHARGER,
}
"""The remarks without values."""


def largest_uncertainty(result: Reconciled, charges: int) -> Remark:
    """Return the remark on the source with the most variance.

    Parameters
    ----------
    result
        The verdict, with the variance by source.
    charges
        Number of charges the verdict rests on.
    """
    by = result.uncertain_by
    source = max(by, key=lambda one: by[one])
    if source is Source.FULL:
        # Independent from charge to charge: its variance goes with the number of charges.
        return Remark(RemarkCode.BY_FULL, charges=3 * charges)
    return Remark(PLAIN[source])


def reaches(result: Reconciled) -> dict[Source, float]:
    """Return the half width of the 95 % interval that each source alone makes, largest first."""
    by = {source: Z_95 * math.sqrt(variance) for source, variance in result.uncertain_by.items()}
    return {source: by[source] for source in sorted(by, key=lambda one: -by[one]) if by[source]}
