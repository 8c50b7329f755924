"""Charges found from the marks of sessions: what was drawn from one full charge to the next.

Folded in order of time: rides draw, a mark `charged` states an amount, `charged_full` closes the
charge. An amount belongs to the rides before it, even if it is stated just after `charged_full`, as
in the daemon (`onboard.efficiency.battery.full_to_full`). What does not fit together is left out,
with a remark.
"""

from collections.abc import Sequence
from dataclasses import field
from pathlib import Path

from groundside.reports.reconcile.counted_log import CountedLog
from groundside.studies.charge_balance import Counted, added
from onboard.contract.commands import Amount, AmountKind, Mark
from onboard.contract.remarks import Remark, RemarkCode
from onboard.dataclass import dataclass
from onboard.record.marks import in_record, read_marks

AmountsByKind = dict[AmountKind, float]


@dataclass(frozen=True)
class MarkedCharge:
    """A charge from full to full, as counted and as stated.

    Parameters
    ----------
    logs
        The sessions that drew something, in order.
    counted
        What they drew.
    charged_ah, charged_wh
        Amounts stated; None for one that was not, never both.
    """

    logs: tuple[Path, ...]
    counted: Counted
    charged_ah: float | None
    charged_wh: float | None


@dataclass
class _SinceFull:
    """What was drawn and put back since the pack was full."""

    logs: list[Path] = field(default_factory=list)
    parts: list[Counted] = field(default_factory=list)
    places: list[tuple[float, AmountsByKind]] = field(default_factory=list)
    """Charge drawn when amounts were stated [Ah], and their sums."""

    @property
    def drawn_ah(self) -> float:
        return sum(part.charge_ah for part in self.parts)

    def draw(self, log: Path, part: Counted) -> None:
        if part.charge_ah <= 0.0:
            return
        self.parts.append(part)
        if log not in self.logs:
            self.logs.append(log)

    def put(self, amount: Amount, hardly_ah: float) -> None:
        kind, value = amount
        drawn_ah = self.drawn_ah
        if not self.places or drawn_ah > self.places[-1][0] + hardly_ah:
            self.places.append((drawn_ah, {}))
        sums = self.places[-1][1]
        if sums.get(kind) != value:  # else said twice
            sums[kind] = sums.get(kind, 0.0) + value

    def total(self, kind: AmountKind) -> float | None:
        """Return the sum of one kind; None unless every amount was stated in it."""
        if not all(kind in sums for _, sums in self.places):
            return None
        return sum(sums[kind] for _, sums in self.places)


class MarkedCharges:
    """Folds sessions in order of time into charges.

    Parameters
    ----------
    hardly_ah
        Charge up to which two marks are of the same charge [Ah].
    """

    def __init__(self, hardly_ah: float) -> None:
        self._hardly_ah = hardly_ah
        self._from_full = self._rides_before = self._is_named = False
        self._since, self._closed = _SinceFull(), _SinceFull()
        self._closed_by = ""
        self.charges: list[MarkedCharge] = []
        self.remarks: list[Remark] = []

    def fold(self, path: Path, log: CountedLog) -> None:
        """Fold a session with its marks."""
        begin_s = None
        for mark in in_record(read_marks(path), log.zero_stamp_s):
            command = mark.command
            if not isinstance(command, Mark) or command.mark not in ("charged", "charged_full"):
                continue
            if mark.t_s is not None:
                self._since.draw(path, log.between(begin_s, mark.t_s))
                begin_s = max(mark.t_s, begin_s or mark.t_s)
            if command.amount is None:
                self._full(path.name)
            else:
                self._amount(path.name, command.amount)
        self._since.draw(path, log.between(begin_s, None))

    def skip(self, path: Path, drawn_ah: float) -> None:
        """Fold a session that was not given, of which only the charge drawn is known [Ah]."""
        if drawn_ah <= self._hardly_ah:
            return
        if self._from_full:
            self._say(Remark(RemarkCode.MARK_SESSION_BETWEEN, log=path.name, charge_ah=drawn_ah))
        self._break()

    def end(self) -> None:
        """Close what is open at the end."""
        self._settle()
        if self._since.places:
            self._say(Remark(RemarkCode.MARK_NEVER_FULL, log=self._since.logs[-1].name))

    def _full(self, session: str) -> None:
        since = self._since
        if since.drawn_ah <= self._hardly_ah:  # said twice, or nothing ridden before
            self._from_full = True
            return
        self._settle()
        if self._from_full:
            self._closed, self._closed_by, self._is_named = since, session, False
        elif since.places:
            self._not_from_full(session)
        self._rides_before = True
        self._from_full, self._since = True, _SinceFull()

    def _amount(self, session: str, amount: Amount) -> None:
        kind, value = amount
        if kind == "left_fraction":
            if value >= 1.0:
                self._full(session)
            elif self._from_full:
                self._say(Remark(RemarkCode.MARK_PARTIAL, log=session, left_fraction=value))
                self._break()
            return
        if not value:
            return
        if self._since.drawn_ah > self._hardly_ah:
            self._since.put(amount, self._hardly_ah)
        elif self._closed.parts:
            self._closed.put(amount, self._hardly_ah)
        elif self._rides_before:
            self._not_from_full(session)
        else:
            self._say(Remark(RemarkCode.MARK_EARLIER, log=session))

    def _settle(self) -> None:
        """Add the charge closed last, for which no more amounts can be stated."""
        closed, self._closed = self._closed, _SinceFull()
        if not closed.parts:
            return
        if not closed.places:
            self._say(
                Remark(RemarkCode.MARK_NO_AMOUNT, log=self._closed_by, charge_ah=closed.drawn_ah)
            )
            return
        charged_ah, charged_wh = closed.total("charged_ah"), closed.total("charged_wh")
        if charged_ah is None and charged_wh is None:
            self._say(Remark(RemarkCode.MARK_KINDS, log=self._closed_by))
            return
        self.charges.append(
            MarkedCharge(tuple(closed.logs), added(closed.parts), charged_ah, charged_wh)
        )

    def _break(self) -> None:
        """Forget what was drawn since full; a remark says why."""
        self._settle()
        self._from_full, self._since = False, _SinceFull()
        self._rides_before = self._is_named = True

    def _not_from_full(self, session: str) -> None:
        if not self._is_named:
            self._say(Remark(RemarkCode.MARK_NOT_FROM_FULL, log=session))

    def _say(self, remark: Remark) -> None:
        self.remarks.append(remark)


def marked_charges(
    logs: Sequence[tuple[Path, CountedLog | float]], hardly_ah: float
) -> tuple[list[MarkedCharge], list[Remark]]:
    """Return the charges that the marks show, and remarks on what does not fit together.

    Parameters
    ----------
    logs
        The sessions in order of time, each with its count; for one that was not given, only the
        charge drawn [Ah].
    hardly_ah
        Charge up to which two marks are of the same charge [Ah].
    """
    found = MarkedCharges(hardly_ah)
    for path, log in logs:
        if isinstance(log, CountedLog):
            found.fold(path, log)
        else:
            found.skip(path, log)
    found.end()
    return found.charges, found.remarks
