"""Why what a viewer asked is not done: one row for each refusal, with its values."""

from onboard.contract.codes import Code, Statement, Value


class RefusalCode(Code):
    """Why a command is not carried out."""

    # What was sent is not a command.
    NOT_ALLOWED = "not_allowed", "a value is not allowed", "key", "given", "of"
    MISSING = "missing", "a key is missing", "key"
    NO_SUCH_KEY = "no_such_key", "a key does not exist", "key"
    NOT_ONE_AMOUNT = "not_one_amount", "`charged` needs exactly one amount"
    LINE_TOO_LONG = "line_too_long", "the line is too long", "most"
    NOT_UTF_8 = "not_utf_8", "the line is not UTF-8"
    NOT_JSON = "not_json", "the line is not JSON"
    NO_NUMBER = "no_number", "NaN and the like are not JSON", "given"
    KEY_TWICE = "key_twice", "a key appears twice in the line"

    # The viewer may not send it, or not now.
    NOT_HERE = "not_here", "commands are taken from the board itself only"
    LOOKS_ON = "looks_on", "this viewer may look only"
    TOO_FAST = "too_fast", "too many lines a second", "most"
    TOO_MANY_WAIT = "too_many_wait", "too many commands are waiting"
    NO_COMMANDS = "no_commands", "this daemon takes no commands"
    TOO_MANY_VIEWERS = "too_many_viewers", "the limit of viewers is reached", "most"
    TOO_MANY_SCREENS = (
        "too_many_screens",
        "this member is connected on too many screens",
        "name",
        "most",
    )

    # It cannot be done now.
    NOT_KNOWN = (
        "not_known",
        "what it needs is not known",
        "key",
        "reason",
    )
    NEVER_HEARD = "never_heard", "the source has never been heard", "source"
    STILL_HEARD = "still_heard", "the source is still heard", "source"
    ONLY_ONE = "only_one", "no other battery is heard: without it power would be unknown", "source"
    CURVE_NOT_READY = "curve_not_ready", "the curve of the present set-up cannot be worked out yet"
    READING_RECORD = "reading_record", "the last record is still being read"
    CARD_BEHIND = "card_behind", "the card refuses the record"
    CANNOT_RECORD = "cannot_record", "no new record can be started", "path", "errno"
    FAULT = "fault", "there was a program fault"
    NEWER = "newer", "a refusal that this viewer does not know", "name"


class Refusal(Statement):
    """Why a command is not carried out; a `reason` among the values is the code of a reason."""

    __slots__ = ()
    code: RefusalCode

    def __init__(self, code: RefusalCode, /, **values: Value) -> None:
        super().__init__(code, **values)
