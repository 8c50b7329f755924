"""The errors a user can cause. Each prints as one line that says what was wrong and how to mend it.

The tree::

    WattwakeError            anything below; the commands turn it into one line and exit code 2
      ProfileError           `battery.cells = 0: expected a whole number from 1 to 32`
      LinkError              `/dev/ttyX: no such serial device: is it plugged in ...`
        LinkEndedError       `file:ride.tlog: played to its end`
      LogError               `ride.txt: no MAVLink frame in it: expected a telemetry log`
      FeedError              `port 27220 is in use: stop the other daemon or choose --listen`
      UsageError             `--link nosuch:1: expected udpin:HOST:PORT, ...`
"""

LINK_PROBLEMS = (
    "cannot_open", "cannot_connect", "cannot_listen", "broke", "closed", "played",
)  # fmt: skip


class WattwakeError(Exception):
    """Base of all errors that a user can mend."""


class ProfileError(WattwakeError):
    """The craft profile cannot be used."""


class LinkError(WattwakeError):
    """A link cannot be opened or has ended.

    Parameters
    ----------
    text
        The line for people.
    link
        The link's connection string.
    problem
        What became of it: a code of `LINK_PROBLEMS`.
    number
        The system's number of the error, None where there is none.
    """

    def __init__(
        self, text: str, link: str = "", problem: str = "broke", number: int | None = None
    ) -> None:
        super().__init__(text)
        self.link, self.problem, self.number = link, problem, number


class LinkEndedError(LinkError):
    """A link has given all that it ever will."""


class LogError(WattwakeError):
    """A saved log cannot be read."""


class FeedError(WattwakeError):
    """The feed cannot be served or reached."""


class UsageError(WattwakeError):
    """A command was given something that it cannot use."""


class RecordError(UsageError):
    """No record can be begun there.

    Parameters
    ----------
    text
        The line for people.
    path, number
        Where, and the system's number of the error.
    """

    def __init__(self, text: str, path: str, number: int | None) -> None:
        super().__init__(text)
        self.path, self.number = path, number


def cause_of(problem: Exception) -> str:
    """Return why the system refused something, in lower case, for use in a message."""
    return (getattr(problem, "strerror", None) or str(problem)).lower()
