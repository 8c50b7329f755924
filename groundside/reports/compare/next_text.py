"""What to ride next, in one sentence."""

from collections.abc import Iterable

from onboard.contract.remarks import Caution, CautionCode
from onboard.efficiency.trial.results import Comparison
from onboard.efficiency.trial.trial_practice import WANTED_FRACTION

DOUBTED_BY = frozenset(
    {
        CautionCode.POWER_NOT_HELD,
        CautionCode.MOTOR_CURRENT_HELD,
        CautionCode.VOLTAGE_DIFFERS,
        CautionCode.TEMPERATURE_DIFFERS,
        CautionCode.ORDER_CONFOUNDED,
        CautionCode.COURSES_DIFFER,
    }
)
"""Cautions by which something else than the set-ups may make the whole difference."""

NAMED_BY = ("setups", "others", "setup", "other", "pack_setup", "pack_other")
"""Values of a caution that name set-ups."""

WANTED = f"{100 * WANTED_FRACTION:.0f} %"


def next_text(found: Comparison, cautions: Iterable[Caution]) -> str:
    """Return what to ride next, after which cautions, or that it is enough.

    Parameters
    ----------
    found
        The comparison.
    cautions
        All of the trial's.
    """
    ahead, how = found.next_runs, _how(found)
    doubts = [one for one in cautions if one.code in DOUBTED_BY]
    by_more = any(one.code is not CautionCode.ORDER_CONFOUNDED for one in doubts)
    mend = "first mend what the cautions name, then " if by_more else ""
    if not ahead.enough:
        back = ", then in reverse" if len(ahead.order) > 1 else ""
        rounds = ahead.rounds
        often = "" if not rounds else f"; about {rounds} more round{'s' if rounds > 1 else ''}"
        drop = f". Drop {_listed(ahead.drop)}" if ahead.drop and not doubts else ""
        again = f"{mend}ride {_named(ahead.order)} again, {how}"
        return f"Next: {again}, in this order{back}{often}{drop}."
    if doubts:
        names = _doubted(doubts, [one.name for one in found.setups])
        return f"Next: {mend}ride {_named(names)} again, {how}, by turns."
    best = [one.name for one in found.places if one.group == 0]
    if len(best) == 1:
        take = f"Take {_quoted(best[0])}"
        return f"Next: enough was run. {take}; at another power the ranking may differ."
    surely = _surely_alike(found)
    return (
        f"Next: enough was run. {_listed(best)} "
        + (f"are alike to within {WANTED}: " if surely else f"are unlikely to differ by {WANTED}: ")
        + "take whichever suits you otherwise."
    )


def _how(found: Comparison) -> str:
    """Return how a run is ridden."""
    kind = "a lap each" if all(one.laps for one in found.setups) else "there and back each"
    return f"{kind} at {found.power_w:.0f} W"


def _named(names: Iterable[str]) -> str:
    """Return names in order; those that hold a comma are quoted.

    Examples
    --------
    >>> _named(["slim", "three blades, cut"])
    "slim, 'three blades, cut'"
    """
    return ", ".join(map(_quoted, names))


def _listed(names: Iterable[str]) -> str:
    """Return names as a list in a sentence.

    Examples
    --------
    >>> _listed(["slim"]), _listed(["slim", "broad", "old"])
    ('slim', 'slim, broad and old')
    """
    *others, last = map(_quoted, names)
    return f"{', '.join(others)} and {last}" if others else last


def _quoted(name: str) -> str:
    return f"'{name}'" if "," in name else name


def _doubted(cautions: Iterable[Caution], names: list[str]) -> list[str]:
    """Return the set-ups that cautions name, best first; all if they name none."""
    found: set[object] = set()
    for one in cautions:
        for key in NAMED_BY:
            value = one.values.get(key)
            found |= set(value) if isinstance(value, tuple) else {value}
    named = [name for name in names if name in found]
    return named if len(named) > 1 else names


def _surely_alike(found: Comparison) -> bool:
    """Return whether the intervals of all that may be the best are within what is wanted."""
    for one in found.places:
        behind = one.behind_fraction
        high = getattr(behind, "high", None)
        if (
            one.group == 0
            and one is not found.places[0]
            and not (high is not None and high <= WANTED_FRACTION)
        ):
            return False
    return True
