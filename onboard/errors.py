"""The errors that a user can cause. Each prints as one line with the problem and the remedy.

The tree::

    WattwakeError            any of these; a command prints it as one line and exits with code 2
      ProfileError           `battery.cells = 0: expected a whole number from 1 to 32`
      LinkError              `/dev/ttyX: no such serial device: is it plugged in ...`
        LinkEndedError       `file:ride.tlog: played to its end`
      LogError               `ride.txt: the file is empty: expected a log`
      FeedError              `port 27220 is in use: stop the other daemon or choose --listen`
      UsageError             `--link nosuch:1: expected udpin:HOST:PORT, ...`
        RecordError          `--record /sd: cannot write there (permission denied): ...`
"""


class WattwakeError(Exception):
    """Base of all errors that a user can fix."""


class ProfileError(WattwakeError):
    """The craft profile is unusable."""


class LinkError(WattwakeError):
    """A link cannot be opened or has ended.

    Parameters
    ----------
    text
        Message for people.
    link
        Connection string of the link.
    problem
        Code: `cannot_open`, `cannot_connect`, `cannot_listen`, `broke`, `closed` or `played`.
    number
        `errno` of the system's error, None where there is none.
    """

    def __init__(
        self, text: str, link: str = "", problem: str = "broke", number: int | None = None
    ) -> None:
        super().__init__(text)
        self.link, self.problem, self.number = link, problem, number


class LinkEndedError(LinkError):
    """A link has delivered all of its data."""


class LogError(WattwakeError):
    """A saved log cannot be read."""


class FeedError(WattwakeError):
    """The feed cannot be served or reached."""


class UsageError(WattwakeError):
    """A command was given something that it cannot use."""


class RecordError(UsageError):
    """No record can be started in this folder.

    Parameters
    ----------
    text
        Message for people.
    path, number
        The folder, and `errno` of the system's error.
    """

    def __init__(self, text: str, path: str, number: int | None) -> None:
        super().__init__(text)
        self.path, self.number = path, number


def cause_of(problem: Exception) -> str:
    """Return why the system refused something, in lower case, for use in a message."""
    return (getattr(problem, "strerror", None) or str(problem)).lower()
