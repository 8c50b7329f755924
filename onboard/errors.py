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


class WattwakeError(Exception):
    """Base of all errors that a user can mend."""


class ProfileError(WattwakeError):
    """The craft profile cannot be used."""


class LinkError(WattwakeError):
    """A link cannot be opened or has ended."""


class LinkEndedError(LinkError):
    """A link has given all that it ever will."""


class LogError(WattwakeError):
    """A saved log cannot be read."""


class FeedError(WattwakeError):
    """The feed cannot be served or reached."""


class UsageError(WattwakeError):
    """A command was given something that it cannot use."""
