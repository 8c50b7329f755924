"""Checks of the board: clocks, room for the record, the feed's port, the profile.

Limits are common practice, no source.
"""

import datetime

from onboard.ashore.facts import ClockFacts, DiskFacts, FeedFacts, PairingFacts, Port
from onboard.ashore.findings import CheckFinding, CheckVerdict, bad, graded, look, ok
from onboard.profile import Profile

CLOCKS_APART_S = 60.0
CLOCK_BUILT_S = 1_735_689_600.0
"""A board clock before 2025 was never set [s since the Unix epoch]."""

HOURS_LOOK, HOURS_BAD = 24.0, 2.0
HOURS_SHOWN_MOST = 1000.0
FREE_LOOK_BYTES, FREE_BAD_BYTES = 1e9, 50e6
"""Used while the rate of recording is unknown."""

NAMES_MOST = 6
"""Names listed; the rest is only counted."""


def check_clock(facts: ClockFacts, has_autopilot: bool) -> CheckFinding:
    """Compare the board's clock with the autopilot's, which comes from the GPS."""
    name = "clock"
    if not has_autopilot:
        return look(name, f"not checked: no autopilot heard; the board says {_utc(facts.board_s)}")
    if facts.autopilot_s is None:
        text = "the autopilot's is not set (it comes with a fix)"
        return look(name, f"{text}; the board says {_utc(facts.board_s)}")
    apart_s = facts.board_s - facts.autopilot_s
    if abs(apart_s) <= CLOCKS_APART_S:
        return ok(name, f"board and autopilot agree: {_utc(facts.autopilot_s)}")
    never = " It was never set." if facts.board_s < CLOCK_BUILT_S else ""
    return look(
        name,
        f"the board is {_span(abs(apart_s))} {'ahead of' if apart_s > 0 else 'behind'} the "
        f"autopilot's {_utc(facts.autopilot_s)}.{never} Figures do not mind, but sessions are "
        "named by it; true UTC is kept beside the record.",
    )


def _utc(unix_s: float) -> str:
    moment = datetime.datetime.fromtimestamp(unix_s, datetime.UTC)
    return f"{moment:%Y-%m-%d %H:%M:%S} UTC"


def _span(seconds_s: float) -> str:
    for least, unit in ((86_400.0 * 2, "days"), (3600.0 * 2, "hours"), (120.0, "minutes")):
        if seconds_s >= least:
            return f"{seconds_s / (least / 2):.0f} {unit}"
    return f"{seconds_s:.0f} seconds"


def check_disk(facts: DiskFacts) -> CheckFinding:
    """Check the room for records."""
    name = "disk"
    if facts.folder is None:
        return look(name, "no record is kept of this link")
    if facts.problem is not None or facts.free_bytes is None:
        return bad(
            name, f"{facts.folder}: {facts.problem or 'room not known'}. Choose --record DIR."
        )
    if not facts.writable:
        return bad(
            name, f"{facts.folder}: cannot be written. Mend its owner, or choose --record DIR."
        )
    text = f"{facts.free_bytes / 1e9:.1f} GB free in {facts.folder}"
    if not facts.bytes_per_s:
        scarce, short = facts.free_bytes < FREE_LOOK_BYTES, facts.free_bytes < FREE_BAD_BYTES
    else:
        hours = facts.free_bytes / facts.bytes_per_s / 3600.0
        text += f": {_hours(hours)}"
        text += f" at {facts.bytes_per_s / 1e3:.1f} kB/s"
        scarce, short = hours < HOURS_LOOK, hours < HOURS_BAD
    return graded(
        name,
        text,
        (short, CheckVerdict.BAD, ". Move old sessions away."),
        (scarce, CheckVerdict.LOOK, ". Move old sessions away soon."),
    )


def _hours(hours: float) -> str:
    if hours > HOURS_SHOWN_MOST:
        return f"over {HOURS_SHOWN_MOST:.0f} hours"
    return f"{hours:.1f} hours" if hours < 10 else f"{hours:.0f} hours"


def check_feed(facts: FeedFacts) -> CheckFinding:
    """Check the port that viewers connect to."""
    name = "feed"
    where = f"{facts.host}:{facts.port}"
    if facts.used_by is Port.OTHER:
        return bad(
            name, f"{where} is used by something else: stop it, or choose --listen HOST:PORT."
        )
    if facts.used_by is Port.REFUSED:
        return bad(name, f"{where} cannot be had ({facts.problem}): choose --listen HOST:PORT.")
    text = f"{where} is free"
    if facts.used_by is Port.OURS:
        text = f"the daemon runs, and serves {facts.craft or 'a craft'} on {where}"
    return ok(name, text)


def check_pairing(facts: PairingFacts) -> CheckFinding:
    """Check who may connect from elsewhere, and that keys are readable by the owner only."""
    name = "pairing"
    if not facts.paired:
        return ok(name, "none: the feed is for this board only. wattwake-onboard pair opens it.")
    if facts.problem is not None:
        return bad(name, facts.problem)
    if facts.exposed:
        files = " ".join(facts.exposed)
        return bad(name, f"others may read {facts.exposed[0]}: chmod go= {files}")
    if facts.where is None:
        return look(name, "feed.crew_listen is off: nobody comes in, though the craft is paired.")
    names = ", ".join(facts.names[:NAMES_MOST]) or "nobody"
    more = len(facts.names) - NAMES_MOST
    rest = f" and {more} more" if more > 0 else ""
    return ok(name, f"encrypted on {facts.where}; may come in: {names}{rest}")


def check_profile(profile: Profile, given: str | None) -> CheckFinding:
    """Check that the profile states a battery."""
    name = "profile"
    if given is None:
        return look(
            name, "none: no range, no charge left. Describe the craft; give --profile FILE."
        )
    if profile.battery is None:
        return look(name, f"{given}: no [battery], so no range and no charge left.")
    battery = profile.battery
    return ok(
        name,
        f"{profile.craft.name}: {battery.chemistry}, {battery.cells} cells, "
        f"{battery.full_wh:.0f} Wh, {100 * battery.reserve_fraction:.0f} % reserve",
    )
