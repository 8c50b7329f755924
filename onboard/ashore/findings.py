"""Findings of the check: a verdict, and a sentence with the result and the remedy."""

from collections.abc import Iterable
from enum import StrEnum

from onboard.dataclass import dataclass


class CheckVerdict(StrEnum):
    """Severity: fine, worth a look, or figures cannot be relied on."""

    OK = "ok"
    LOOK = "look"
    BAD = "bad"


@dataclass(frozen=True)
class CheckFinding:
    """Result of one check."""

    name: str
    verdict: CheckVerdict
    text: str


def ok(name: str, text: str) -> CheckFinding:
    """Return a finding that all is well."""
    return CheckFinding(name, CheckVerdict.OK, text)


def look(name: str, text: str) -> CheckFinding:
    """Return a finding that the owner should look at."""
    return CheckFinding(name, CheckVerdict.LOOK, text)


def bad(name: str, text: str) -> CheckFinding:
    """Return a finding that makes figures wrong until it is fixed."""
    return CheckFinding(name, CheckVerdict.BAD, text)


def graded(name: str, text: str, *rules: tuple[bool, CheckVerdict, str]) -> CheckFinding:
    """Return the text with verdict and remedy of the first rule that applies, else OK."""
    for applies, verdict, remedy in rules:
        if applies:
            return CheckFinding(name, verdict, f"{text}{remedy}")
    return ok(name, text)


def worst(findings: Iterable[CheckFinding]) -> CheckVerdict:
    """Return the most serious verdict."""
    order = list(CheckVerdict)
    return max((finding.verdict for finding in findings), key=order.index, default=CheckVerdict.OK)
