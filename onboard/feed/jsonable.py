"""Dataclasses of figures to what JSON can say: unknown becomes null, with its reason beside it."""

import dataclasses
import math
from typing import Any

from onboard.efficiency.figure import Figure, Unknown


def jsonable(value: Any) -> Any:
    """Turn figures, numbers and dataclasses of them into JSON's own types.

    In a dataclass, a field that is `Unknown` becomes null and its reason stands in the object's
    `why` under the field's name. A number that is not finite becomes null too.

    Examples
    --------
    >>> from onboard.efficiency.consumption import Stretch
    >>> jsonable(Stretch(20.0, 0.5, Unknown("no GPS fix")))
    {'seconds_s': 20.0, 'energy_wh': 0.5, 'distance_m': None, 'why': {'distance_m': 'no GPS fix'}}
    """
    if isinstance(value, Unknown):
        return None
    if isinstance(value, Figure):
        return {key: _finite(getattr(value, key)) for key in ("value", "low", "high")}
    if dataclasses.is_dataclass(value):
        result: dict[str, Any] = {}
        why: dict[str, str] = {}
        for field in dataclasses.fields(value):
            part = getattr(value, field.name)
            result[field.name] = jsonable(part)
            if isinstance(part, Unknown):
                why[field.name] = part.why
            elif isinstance(part, float) and not math.isfinite(part):
                why[field.name] = "not a finite number"
        if why:
            result["why"] = why
        return result
    if isinstance(value, dict):
        return {key: jsonable(part) for key, part in value.items()}
    if isinstance(value, (list, tuple)):
        return [jsonable(part) for part in value]
    return _finite(value)


def _finite(value: Any) -> Any:
    return None if isinstance(value, float) and not math.isfinite(value) else value
