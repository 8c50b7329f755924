"""What a check says: a verdict, and in plain words what is so and what to do."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum


class Verdict(StrEnum):
    """How serious: nothing, worth a look, or in the way of a ride."""

    OK = "ok"
    LOOK = "look"
    BAD = "bad"


@dataclass(frozen=True)
class Finding:
    """One line of the check."""

    name: str
    verdict: Verdict
    text: str


def ok(name: str, text: str) -> Finding:
    """Find that all is well."""
    return Finding(name, Verdict.OK, text)


def look(name: str, text: str) -> Finding:
    """Find something that the owner should look at."""
    return Finding(name, Verdict.LOOK, text)


def bad(name: str, text: str) -> Finding:
    """Find something without which the figures will not be right."""
    return Finding(name, Verdict.BAD, text)


def graded(name: str, text: str, *rules: tuple[bool, Verdict, str]) -> Finding:
    """Return the text with what to do by the first rule that holds; all is well if none does."""
    for holds, verdict, remedy in rules:
        if holds:
            return Finding(name, verdict, f"{text}{remedy}")
    return ok(name, text)


def worst(findings: Iterable[Finding]) -> Verdict:
    """Return the most serious verdict."""
    order = list(Verdict)
    return max((finding.verdict for finding in findings), key=order.index, default=Verdict.OK)
