"""Why something that a viewer said is not done: a row a refusal, with its values."""

from onboard.contract.codes import Code, Statement, Value


class RefusalCode(Code):
    """Why not."""

    # What was said is no command.
    NOT_ALLOWED = "not_allowed", "a value that is not allowed there", "key", "given", "of"
    MISSING = "missing", "a key is missing", "key"
    NO_SUCH_KEY = "no_such_key", "a key that does not exist", "key"
    NOT_ONE_AMOUNT = "not_one_amount", "`charged` needs exactly one amount"
    LINE_TOO_LONG = "line_too_long", "the line is too long", "most"
    NOT_UTF_8 = "not_utf_8", "the line is not UTF-8"
    NOT_JSON = "not_json", "the line is not JSON"
    NO_NUMBER = "no_number", "NaN and the like are not JSON", "given"
    KEY_TWICE = "key_twice", "a key stands twice in the line"

    # Who says it may not, or not now.
    NOT_HERE = "not_here", "commands are taken from the board itself only"
    LOOKS_ON = "looks_on", "this viewer may look on only"
    TOO_FAST = "too_fast", "too many lines a second", "most"
    TOO_MANY_WAIT = "too_many_wait", "too many commands wait"
    NO_COMMANDS = "no_commands", "this daemon takes no commands"
    TOO_MANY_VIEWERS = "too_many_viewers", "as many look on as may", "most"
    TOO_MANY_SCREENS = "too_many_screens", "looks on from too many screens", "name", "most"

    # It cannot be done now.
    NOT_KNOWN = "not_known", "what it needs is unknown; the reason's code", "key", "reason"
    NEVER_HEARD = "never_heard", "a source that has never been heard", "source"
    STILL_HEARD = "still_heard", "a source that is still heard", "source"
    ONLY_ONE = "only_one", "without this battery no power would be known", "source"
    CURVE_NOT_READY = "curve_not_ready", "the present set-up's curve cannot be worked out yet"
    READING_RECORD = "reading_record", "the last record is still being read"
    CARD_BEHIND = "card_behind", "the card refuses the record"
    CANNOT_RECORD = "cannot_record", "no new record can be begun", "path", "errno"
    FAULT = "fault", "a program fault"
    NEWER = "newer", "a refusal that this viewer does not know", "name"


class Refusal(Statement):
    """Why something is not done."""

    __slots__ = ()
    code: RefusalCode

    def __init__(self, code: RefusalCode, /, **values: Value) -> None:
        super().__init__(code, **values)
