"""Why a viewer's command is not carried out: one row for each refusal."""

from onboard.contract.codes import Code, Statement, Value


class RefusalCode(Code):
    """Why a command is not carried out."""

    # What was sent is not a command.
    NOT_ALLOWED = "not_allowed", "{key} = {given}: expected {of}", "a value is not allowed"
    MISSING = "missing", "{key}: missing", "a key is missing"
    NO_SUCH_KEY = "no_such_key", "{key}: no such key", "a key does not exist"
    NOT_ONE_AMOUNT = "not_one_amount", "`charged` needs exactly one amount"
    LINE_TOO_LONG = "line_too_long", "the line is longer than {most} bytes"
    NOT_UTF_8 = "not_utf_8", "the line is not UTF-8"
    NOT_JSON = "not_json", "the line is not JSON: expected one object a line"
    NO_NUMBER = "no_number", "{given} is not JSON: expected a number or null"
    KEY_TWICE = "key_twice", "a key appears twice in the line"

    # The viewer may not send it, or not now.
    NOT_HERE = (
        "not_here",
        "commands are taken from the board itself only: run the viewer there, or connect through "
        "a tunnel",
    )
    LOOKS_ON = "looks_on", "this viewer may look only: pair it again on the craft with --role crew"
    TOO_FAST = "too_fast", "more than {most} lines a second: try again"
    TOO_MANY_WAIT = "too_many_wait", "too many commands are waiting: try again"
    NO_COMMANDS = "no_commands", "this daemon takes no commands"
    TOO_MANY_VIEWERS = (
        "too_many_viewers",
        "{most} viewers are connected already, which is the limit",
    )
    TOO_MANY_SCREENS = (
        "too_many_screens",
        "{name} is connected on {most} screens already, which is the limit",
    )

    # It cannot be done now.
    NOT_KNOWN = "not_known", "{key} is not known: {reason}", "what it needs is not known"
    NEVER_HEARD = "never_heard", "{source} has never been heard", "the source has never been heard"
    STILL_HEARD = (
        "still_heard",
        "{source} is still heard: unplug it first",
        "the source is still heard",
    )
    ONLY_ONE = (
        "only_one",
        "no other battery is heard: without {source} power would be unknown",
        "no other battery is heard: without it power would be unknown",
    )
    CURVE_NOT_READY = (
        "curve_not_ready",
        "the curve of the present set-up cannot be worked out yet: try again later",
        "the curve of the present set-up cannot be worked out yet",
    )
    READING_RECORD = "reading_record", "the last record is still being read: try again in a moment"
    CARD_BEHIND = "card_behind", "the card refuses the record: try again once recording goes on"
    CANNOT_RECORD = "cannot_record", "{path}: no new record can be started ({errno})"
    FAULT = "fault", "not done, because of a program fault: see the daemon's log"
    NEWER = "newer", "a reason that this viewer does not know: {name}"


class Refusal(Statement):
    """Why a command is not carried out; a `reason` among the values is the code of a reason."""

    __slots__ = ()
    code: RefusalCode

    def __init__(self, code: RefusalCode, /, **values: Value) -> None:
        super().__init__(code, **values)
