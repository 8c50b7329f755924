"""A charge in words: as a rider types it, and as it is shown."""

import re
from typing import Any

from onboard.contract.commands import AMOUNTS

WANTED = "such as 80 %, 250 Wh, 6.5 Ah, full or no"

_UNITS = {"%": ("left_fraction", 0.01), "wh": ("charged_wh", 1.0), "kwh": ("charged_wh", 1000.0)}
_UNITS |= {"ah": ("charged_ah", 1.0), "mah": ("charged_ah", 0.001)}
_TYPED = re.compile(r"(\d{1,6}(?:[.,]\d{1,3})?)\s*(%|k?wh|m?ah)", re.IGNORECASE)


def charge_typed(text: str) -> dict[str, float] | None:
    """Read a charge that was typed, and give the command's fields for it; None if it is none.

    A bare number is refused: it could be per cent, watt-hours or ampere-hours.

    Examples
    --------
    >>> charge_typed("80%"), charge_typed(" 6,5 Ah "), charge_typed("no")
    ({'left_fraction': 0.8}, {'charged_ah': 6.5}, {'charged_wh': 0.0})
    >>> charge_typed("full"), charge_typed("80"), charge_typed("130 %")
    ({'left_fraction': 1.0}, None, None)
    """
    text = text.strip().lower()
    if text in {"no", "none", "not"}:
        return {"charged_wh": 0.0}
    if text == "full":
        return {"left_fraction": 1.0}
    found = _TYPED.fullmatch(text)
    if found is None:
        return None
    key, scale = _UNITS[found[2].lower()]
    value = round(float(found[1].replace(",", ".")) * scale, 6)
    return {key: value} if value <= AMOUNTS[key] else None


def charge_told(command: dict[str, Any]) -> str:
    """Put a command's charge in words; empty where it states none.

    Examples
    --------
    >>> charge_told({"mark": "charged", "charged_wh": 250.0})
    '250 Wh'
    >>> charge_told({"mark": "charged", "left_fraction": 0.8}), charge_told({"mark": "note"})
    ('to 80 %', '')
    >>> charge_told({"mark": "charged", "charged_ah": 0.0})
    'nothing'
    """
    for key, unit in (("charged_wh", "Wh"), ("charged_ah", "Ah")):
        if isinstance(command.get(key), (int, float)):
            return f"{command[key]:g} {unit}" if command[key] else "nothing"
    share = command.get("left_fraction")
    return f"to {100 * share:g} %" if isinstance(share, (int, float)) else ""
