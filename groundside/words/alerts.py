"""What each alert says and, where the rider can do something about it, what to do."""

import datetime
from collections.abc import Mapping

from groundside.words.card import card_words, moved_words
from groundside.words.filling import Sentence, fill, written
from groundside.words.units import Units
from onboard.contract.alerts import Alert, AlertCode
from onboard.contract.codes import Value

LATEST_S = 1e11
"""The year 5138: a clock that reads later is wrong."""


def alert_text(alert: Alert, units: Units) -> str:
    """Return the sentence of an alert, with its values.

    Examples
    --------
    >>> from groundside.words.units import CHOICES
    >>> alert = Alert(AlertCode.CANNOT_BE_MADE, 9.0, best_m=4_444.8, best_speed_mps=2.0)
    >>> alert_text(alert, CHOICES["kn"])
    'No speed surely makes the distance: 2.4 NM is sure, at 3.9 kn.'
    """
    return fill(ALERTS[alert.code], alert, units)


def _charge_unsaid(values: Mapping[str, Value], units: Units) -> str:
    del units
    since_s, when = values["since_utc_s"], "it was last seen"
    if isinstance(since_s, int | float) and 0.0 < since_s < LATEST_S:
        when = f"{datetime.datetime.fromtimestamp(since_s, datetime.UTC):%Y-%m-%d %H:%M} UTC"
    return (
        f"Was the pack charged since {when}? Answer in view 6 (runs)."
        " Until then the lower figure counts."
    )


def _link_down(values: Mapping[str, Value], units: Units) -> str:
    link, problem, errno = values["link"], values["problem"], values["errno"]
    said = LINK_PROBLEMS.get(str(problem), "the link is down")
    cause = "" if errno is None else f" ({written('errno', errno, units)})"
    return f"{link}: {said}{cause}."


def _lately(values: Mapping[str, Value], name: str, units: Units) -> str:
    """Say what a reading is; of one that is not heard any more, that it was so."""
    if values[name] is None:
        return "too hot when last heard" if name == "temperature_degc" else "low when last heard"
    return f"at {written(name, values[name], units)}"


LINK_PROBLEMS: Mapping[str, str] = {
    "cannot_open": "cannot be opened",
    "cannot_connect": "cannot connect",
    "cannot_listen": "cannot listen there",
    "broke": "the link broke",
    "closed": "the other side closed the connection",
    "played": "played to its end",
}
"""What may go wrong with a link, by the codes of `onboard.errors`."""

TRIED_AGAIN = "Trying again; recording goes on."

ALERTS: Mapping[AlertCode, Sentence] = {
    AlertCode.TURN_BACK: "Turn back now: the way home takes all that is left above the reserve.",
    AlertCode.RESERVE_REACHED: "Reserve or cut-off reached: land now.",
    AlertCode.NEAR_CUTOFF: lambda values, units: (
        f"Battery {_lately(values, 'volts_v', units)}, near its cut-off: ease off now."
    ),
    AlertCode.DRIVE_HOT: lambda values, units: (
        f"Motor drive {_lately(values, 'temperature_degc', units)}: ease off and let it cool."
    ),
    AlertCode.ENERGY_LOW: lambda values, units: (
        "Little was left above the reserve when last known: head for home."
        if values["left_wh"] is None
        else f"Only {written('left_wh', values['left_wh'], units)} left above the reserve: "
        "head for home."
    ),
    AlertCode.CANNOT_BE_MADE: (
        "No speed surely makes the distance: {best_m} is sure, at {best_speed_mps}."
    ),
    AlertCode.WEED: (
        "Power is {more_fraction} above the learned curve: weed or a fouled propeller?"
    ),
    AlertCode.HEAT_LIMITING: (
        "Power is falling at constant throttle: the drive may be cutting back for heat. Ease off."
    ),
    AlertCode.NO_POWER_DATA: "No battery data: energy is not counted. Ride as if it were low.",
    AlertCode.NO_SPEED: (
        "No speed from the GPS: distance is not counted. Give it a clear view of the sky."
    ),
    AlertCode.SOURCE_SILENT: (
        "Gone silent: {sources}. Power and range are unknown until it is heard again. If you "
        "unplugged it, say so in view 5 (craft)."
    ),
    AlertCode.SOURCE_UNPLUGGED: (
        "Unplugged: {sources}. Energy left still counts the whole battery in the profile."
    ),
    AlertCode.CURRENT_DEAD: (
        "The current sensor reads nothing under way: energy is not counted. Check its plug."
    ),
    AlertCode.CURRENT_STUCK: (
        "The current stays the same whatever the voltage does: sensor stuck or at its limit."
    ),
    AlertCode.BATTERY_CONTRADICTED: (
        "The resting voltage contradicts the stated charge: the voltage counts."
    ),
    AlertCode.CHARGE_UNSAID: _charge_unsaid,
    AlertCode.LINK_DOWN: _link_down,
    AlertCode.LINK_SILENT: "Nothing over the link for {age_s}: check the cable.",
    AlertCode.BYTES_DROPPED: "This board was too slow: {bytes} bytes of telemetry were dropped.",
    AlertCode.RECORD_STOPPED: lambda values, _: f"Recording stopped: {card_words(values)}.",
    AlertCode.RECORD_AT_RISK: lambda values, _: f"Recording at risk: {card_words(values)}.",
    AlertCode.MARKS_STOPPED: "Marks are not being saved: {errno}.",
    AlertCode.RECORD_MOVED: lambda values, _: moved_words(values),
    AlertCode.RECORD_FAILED: "Program faults in the recorder: {faults}. See the daemon's log.",
    AlertCode.SCAN_FAILED: (
        "Program faults reading the link: {faults}. What came in just then may be missing."
    ),
    AlertCode.FIGURES_FAILED: (
        "The figures failed: working them out again from the record. Recording goes on."
    ),
    AlertCode.FIGURES_GIVEN_UP: (
        "No figures after {faults} program faults: start a new trip to try again. Recording goes "
        "on."
    ),
    AlertCode.PART_LEFT_OUT: "Left out after a program fault: {parts}. See the daemon's log.",
    AlertCode.FEED_FAILED: "Program faults in the feed: {faults}. " + TRIED_AGAIN,
    AlertCode.DOOR_FAILED: ("Program faults serving paired viewers: {faults}. " + TRIED_AGAIN),
    AlertCode.REQUESTS_FAILED: (
        "Program faults asking the autopilot for data: {faults}. " + TRIED_AGAIN
    ),
    AlertCode.ALERTS_FAILED: (
        "Program faults in the daemon's own alerts: {faults}. " + TRIED_AGAIN
    ),
    AlertCode.MEMORY_FAILED: ("Program faults returning free memory: {faults}. " + TRIED_AGAIN),
    AlertCode.NOTES_FAILED: (
        "Program faults in the notes beside the record: {faults}. " + TRIED_AGAIN
    ),
    AlertCode.COUNTERS_DISAGREE: (
        "The autopilot's charge counter is {off_fraction} off what its current adds up to: check "
        "the scale."
    ),
    AlertCode.IMPLAUSIBLE: "Impossible values were left out: check the sensors and their wiring.",
    AlertCode.SOURCE_LEFT_OUT: "Gone silent: {sources}. It gave little and is left out.",
    AlertCode.SOURCE_BRIEF: "Heard only briefly, so left out: {sources}.",
    AlertCode.SOURCE_JOINED: (
        "Now counted too: {sources}. What it gave before it was heard is not counted."
    ),
    AlertCode.FRAMES_REFUSED: (
        "Frames refused: {unsigned} unsigned, {wrong} wrongly signed, {repeated} repeated."
    ),
    AlertCode.NEWER: "An alert that this viewer is too old to explain: {name}.",
}
