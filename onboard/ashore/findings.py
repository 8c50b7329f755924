"""Findings of the check: a verdict, and a sentence with the result and the remedy."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum


class Verdict(StrEnum):
    """Severity: fine, worth a look, or figures cannot be relied on."""

    OK = "ok"
    LOOK = "look"
    BAD = "bad"


@dataclass(frozen=True)
class Finding:
    """Result of one check."""

    name: str
    verdict: Verdict
    text: str


def ok(name: str, text: str) -> Finding:
    """Return a finding that all is well."""
    return Finding(name, Verdict.OK, text)


def look(name: str, text: str) -> Finding:
    """Return a finding that the owner should look at."""
    return Finding(name, Verdict.LOOK, text)


def bad(name: str, text: str) -> Finding:
    """Return a finding that makes figures wrong until it is fixed."""
    return Finding(name, Verdict.BAD, text)


def graded(name: str, text: str, *rules: tuple[bool, Verdict, str]) -> Finding:
    """Return the text with verdict and remedy of the first rule that applies, else OK."""
    for applies, verdict, remedy in rules:
        if applies:
            return Finding(name, verdict, f"{text}{remedy}")
    return ok(name, text)


def worst(findings: Iterable[Finding]) -> Verdict:
    """Return the most serious verdict."""
    order = list(Verdict)
    return max((finding.verdict for finding in findings), key=order.index, default=Verdict.OK)
