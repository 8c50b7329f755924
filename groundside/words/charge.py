"""A charge, as typed by a rider and as shown."""

import re
from collections.abc import Mapping

from onboard.contract.commands import AMOUNTS, Amount, AmountKind

EXAMPLES = "such as 80 %, 250 Wh, 6.5 Ah, full or no"

_UNITS: Mapping[str, tuple[AmountKind, float]] = {
    "%": ("left_fraction", 0.01),
    "wh": ("charged_wh", 1.0),
    "kwh": ("charged_wh", 1000.0),
    "ah": ("charged_ah", 1.0),
    "mah": ("charged_ah", 0.001),
}
_NUMBER = r"(\d{1,6}(?:[.,]\d{1,3})?)"
_TYPED = re.compile(rf"{_NUMBER}\s*(%|k?wh|m?ah)", re.IGNORECASE)


def bare_number(text: str) -> bool:
    """Return whether a typed text is a number without its unit.

    Examples
    --------
    >>> bare_number(" 6,5 "), bare_number("6,5 Ah"), bare_number("")
    (True, False, False)
    """
    return re.fullmatch(_NUMBER, text.strip()) is not None


def parse_charge(text: str) -> Amount | None:
    """Parse a typed charge; return None if it is not one.

    A bare number is refused: it could be per cent, watt-hours or ampere-hours.

    Examples
    --------
    >>> parse_charge("80%"), parse_charge(" 6,5 Ah "), parse_charge("no")
    (('left_fraction', 0.8), ('charged_ah', 6.5), ('charged_wh', 0.0))
    >>> parse_charge("full"), parse_charge("80"), parse_charge("130 %")
    (('left_fraction', 1.0), None, None)
    """
    text = text.strip().lower()
    if text in {"no", "none", "not"}:
        return "charged_wh", 0.0
    if text == "full":
        return "left_fraction", 1.0
    found = _TYPED.fullmatch(text)
    if found is None:
        return None
    key, scale = _UNITS[found[2].lower()]
    value = round(float(found[1].replace(",", ".")) * scale, 6)
    return (key, value) if value <= AMOUNTS[key] else None


def charge_text(amount: Amount | None) -> str:
    """Write a stated charge; empty if none is stated.

    Examples
    --------
    >>> charge_text(("charged_wh", 250.0)), charge_text(("charged_ah", 0.0)), charge_text(None)
    ('250 Wh', 'nothing', '')
    >>> charge_text(("left_fraction", 0.8))
    'to 80 %'
    """
    if amount is None:
        return ""
    key, value = amount
    if key == "left_fraction":
        return f"to {100 * value:g} %"
    return f"{value:g} {'Wh' if key == 'charged_wh' else 'Ah'}" if value else "nothing"
