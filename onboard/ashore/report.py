"""The whole check: all findings, as lines for people or JSON for programs."""

import re
import textwrap
from typing import Any

from onboard.ashore.board_checks import (
    check_clock,
    check_disk,
    check_feed,
    check_pairing,
    check_profile,
)
from onboard.ashore.facts import Facts
from onboard.ashore.findings import CheckFinding, CheckVerdict, worst
from onboard.ashore.link_checks import check_autopilot, check_link
from onboard.ashore.sensor_checks import check_current, check_fix, check_voltage

SCHEMA = 1

FIRST = "Ashore, propeller off, craft at rest. The check only listens, and sends nothing."

WORDS = {CheckVerdict.OK: "OK", CheckVerdict.LOOK: "look", CheckVerdict.BAD: "bad"}

SUMMARY = {
    CheckVerdict.OK: "All is well.",
    CheckVerdict.LOOK: "Nothing is in the way; look at the lines marked 'look'.",
    CheckVerdict.BAD: "Mend what is marked 'bad' before you rely on any figure.",
}

UNBROKEN = "\N{NO-BREAK SPACE}"

NAME_WIDTH = 11
INDENT, NARROW_INDENT = " " * (6 + NAME_WIDTH), " " * 6
NARROW = 60
"""Below this number of columns, as on a phone, texts are indented less."""


def judge(facts: Facts) -> list[CheckFinding]:
    """Return all findings, one per check, in the order in which to fix things."""
    profile, sensors = facts.profile, facts.profile.sensors
    given = None if facts.profile_path is None else str(facts.profile_path)
    has_autopilot = facts.autopilot.system_id is not None
    return [
        check_link(facts.link),
        check_autopilot(facts.autopilot, facts.link.messages),
        check_fix(facts.fix, has_autopilot),
        check_current(facts.power, sensors, has_autopilot),
        check_voltage(facts.power, profile.battery, sensors, has_autopilot),
        check_clock(facts.clock, has_autopilot),
        check_disk(facts.disk),
        check_feed(facts.feed),
        check_pairing(facts.pairing),
        check_profile(profile, given),
    ]


def as_lines(findings: list[CheckFinding], width: int) -> list[str]:
    """Return the findings and their summary, wrapped to the width of a terminal."""
    lines = []
    width = max(width, 32)
    indent = NARROW_INDENT if width < NARROW else INDENT
    for finding in findings:
        head = f"{WORDS[finding.verdict]:<6}{finding.name:<{NAME_WIDTH}}"
        # Keep a number and its unit on one line.
        text = re.sub(r"(?<=\d) (?=\S)", UNBROKEN, finding.text)
        wrapped = textwrap.wrap(
            text,
            width,
            initial_indent=head,
            subsequent_indent=indent,
            break_on_hyphens=False,
        )
        lines += [line.replace(UNBROKEN, " ") for line in wrapped]
    return [*lines, *textwrap.wrap(SUMMARY[worst(findings)], width)]


def as_dict(facts: Facts, findings: list[CheckFinding]) -> dict[str, Any]:
    """Return the check in JSON types."""
    return {
        "schema": SCHEMA,
        "first": FIRST,
        "source": facts.link.source,
        "asked_daemon": facts.link.asked_daemon,
        "listened_s": round(facts.link.seconds_s, 1),
        "verdict": worst(findings).value,
        "findings": [
            {"name": finding.name, "verdict": finding.verdict.value, "text": finding.text}
            for finding in findings
        ],
    }
