"""What was learned of a pack, and what it rests on."""

from onboard.contract.battery import LearnedPack


def rests_on_text(learned: LearnedPack) -> str:
    """Say what the capacity and the current's scale rest on.

    Examples
    --------
    >>> from onboard.contract.figure import Figure
    >>> rests_on_text(LearnedPack(Figure(24.2), 4, Figure(1.01), 1))
    'capacity by the profile and 4 rested voltages, current scale by it and 1 metered charge'
    >>> rests_on_text(LearnedPack(Figure(24.2), 0, Figure(1.0), 0))
    'capacity and current scale by the profile alone'
    """
    rests = _counted(learned.rests, "rested voltage")
    charges = _counted(learned.charges, "metered charge")
    if not rests and not charges:
        return "capacity and current scale by the profile alone"
    if not rests:
        return f"capacity by the profile alone, current scale by it and {charges}"
    scale = f"by it and {charges}" if charges else "by it alone"
    return f"capacity by the profile and {rests}, current scale {scale}"


def _counted(count: int, what: str) -> str:
    return "" if count == 0 else f"{count} {what}{'s' * (count > 1)}"
