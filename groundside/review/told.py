"""Reviews as they are printed: JSON for other programs, lines for people."""

from collections.abc import Iterator, Sequence
from typing import Any

from groundside.plain import trip_summary_lines
from groundside.review.many import Reviewed
from groundside.review.summary import SCHEMA
from groundside.units import units_named


def as_json(reviewed: Sequence[Reviewed]) -> dict[str, Any] | None:
    """Give one log's review; for several, a list of them, a problem for those without.

    None where there is one log and it has no review.
    """
    if len(reviewed) == 1:
        return reviewed[0].result
    reviews = [
        {"path": str(one.path), **({"problem": one.problem} if one.result is None else one.result)}
        for one in reviewed
    ]
    return {"schema": SCHEMA, "reviews": reviews}


def as_lines(reviewed: Sequence[Reviewed], units: str | None) -> Iterator[str]:
    """Give the lines of all reviews; each under its log's name where there are several.

    Parameters
    ----------
    reviewed
        The reviews.
    units
        What speeds are told in; None: what each log's profile says.
    """
    apart: list[str] = []
    for one in reviewed:
        if one.result is None:
            continue
        if len(reviewed) > 1:
            yield from apart
            yield str(one.path)
            apart = [""]
        for event in one.result["events"]:
            yield event["text"]
        yield from trip_summary_lines(one.result, units_named(units or one.speed_unit))
