"""Checks of the link and of the systems on it.

Limits are common practice, no source, unless something else is said.
"""

from onboard.ashore.facts import AutopilotFacts, LinkFacts
from onboard.ashore.findings import CheckFinding, CheckVerdict, bad, graded, look

BAD_BYTES_LOOK_FRACTION, BAD_BYTES_BAD_FRACTION = 0.01, 0.1
CUT_FRAME_BYTES = 280
"""Longest frame: the check may begin inside one, so this many bad bytes are not a fault."""

LOST_LOOK_FRACTION = 0.05
MESSAGES_LEAST_PER_S = 5.0
"""Power at 2 Hz with GPS, position and attitude at a few Hz makes more than this."""


def check_link(facts: LinkFacts) -> CheckFinding:
    """Check the traffic on the link."""
    if facts.problem is not None:
        return bad("link", facts.problem)
    return _no_messages(facts) if not facts.messages else _messages(facts)


def _no_messages(facts: LinkFacts) -> CheckFinding:
    if not facts.received_bytes:
        text = f"{facts.source}: nothing came in {facts.seconds_s:.0f} s."
        return bad("link", f"{text} {_silent(facts)}")
    wrong = f" or --baud ({facts.baud} now)" if facts.baud else ""
    return bad(
        "link",
        f"{facts.source}: {facts.received_bytes} bytes came, but no MAVLink message. The "
        f"autopilot's port has another protocol{wrong}: set it to MAVLink 2, both sides to one "
        "speed.",
    )


def _messages(facts: LinkFacts) -> CheckFinding:
    per_s = facts.messages / max(facts.seconds_s, 1e-3)
    lost_fraction = facts.lost / (facts.messages + facts.lost)
    received, bad_fraction = facts.received_bytes, 0.0
    text = f"{facts.source}: {per_s:.0f} messages a second"
    if received:
        bad_fraction = max(facts.bad_bytes - CUT_FRAME_BYTES, 0) / received
        text += f", {received / max(facts.seconds_s, 1e-3) / 1e3:.1f} kB/s"
        text += f", {100 * bad_fraction:.1f} % bad bytes"
    text += f", {100 * lost_fraction:.1f} % lost"
    if facts.asked_daemon:
        text += ", by the daemon that runs"
    return graded(
        "link",
        text,
        (
            bad_fraction > BAD_BYTES_BAD_FRACTION,
            CheckVerdict.BAD,
            ". Check ground wire, baud and levels.",
        ),
        (
            bad_fraction > BAD_BYTES_LOOK_FRACTION,
            CheckVerdict.LOOK,
            ". Shorten the wire, keep it off the motor's, check the baud.",
        ),
        (
            lost_fraction > LOST_LOOK_FRACTION,
            CheckVerdict.LOOK,
            ". Ask for fewer messages, or get a faster or nearer link.",
        ),
        (
            per_s < MESSAGES_LEAST_PER_S,
            CheckVerdict.LOOK,
            ": few. Raise the stream rates of the autopilot's port.",
        ),
    )


def _silent(facts: LinkFacts) -> str:
    if facts.baud:
        return "Is the autopilot on, its TX on this board's RX, ground on ground, its port MAVLink?"
    return "Is the autopilot on, and does it (or its radio or router) send to this address?"


def check_autopilot(facts: AutopilotFacts, messages: int) -> CheckFinding:
    """Check the systems on the link, given the number of messages received."""
    name = "autopilot"
    wanted, others = facts.wanted, facts.others or ()
    if facts.system_id is None:
        if not messages:
            return look(name, "not checked: nothing came over the link")
        if wanted is not None and others:
            present = " and ".join(str(craft) for craft in others)
            return bad(
                name, f"system {wanted} is not heard, but {present} is: change the system id."
            )
        return bad(
            name,
            "messages come, but no autopilot's HEARTBEAT: have its port send HEARTBEAT once a "
            "second, or route the autopilot's stream here, not a ground station's.",
        )
    text = f"system {facts.system_id}"
    if facts.armed is not None:
        text += ", ARMED" if facts.armed else ", disarmed"
    if others:
        text += f"; heard too: {', '.join(str(craft) for craft in others)}"
    unchosen = bool(others) and wanted is None
    choose = " Choose with --system-id or link.system_id." if unchosen else ""
    return graded(
        name,
        text,
        (
            bool(facts.armed),
            CheckVerdict.LOOK,
            f". Disarm before anybody is near the propeller.{choose}",
        ),
        (unchosen, CheckVerdict.LOOK, f".{choose}"),
    )
