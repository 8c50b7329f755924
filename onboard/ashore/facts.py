"""What the check found out, before anything is made of it. Unknown is None."""

from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path

from onboard.profile import Profile


@dataclass(frozen=True)
class LinkFacts:
    """What came over the link.

    Parameters
    ----------
    source
        The link, in the words of `--link`.
    seconds_s
        For how long it was listened to [s].
    problem
        Why it could not be opened, or broke; None if neither.
    received_bytes
        None where only a running daemon was asked.
    messages
        Frames that passed, of all systems.
    lost
        Messages of the followed autopilot that did not arrive.
    baud
        Speed of a serial link, None for others.
    asked_daemon
        Whether all this is what a running daemon says.
    """

    source: str
    seconds_s: float = 0.0
    problem: str | None = None
    received_bytes: int | None = None
    messages: int = 0
    bad_bytes: int = 0
    lost: int = 0
    baud: int | None = None
    asked_daemon: bool = False


@dataclass(frozen=True)
class AutopilotFacts:
    """Who was heard; `others` and `armed` are None where only a daemon was asked."""

    system_id: int | None = None
    wanted: int | None = None
    others: tuple[int, ...] | None = None
    armed: bool | None = None


@dataclass(frozen=True)
class FixFacts:
    """The GPS: `fix` as in the channel `gps`; the speeds of the craft while it should be at rest.

    `received` tells whether the receiver's own state is known; a running daemon does not tell it.
    """

    received: bool = False
    fix: float | None = None
    satellites: float | None = None
    horizontal_sd_m: float | None = None
    has_position: bool = False
    speeds_mps: tuple[float, ...] = ()
    why_no_speed: str = "not heard yet"


@dataclass(frozen=True)
class PowerFacts:
    """Readings of the battery side, corrected as the profile says."""

    amps_a: tuple[float, ...] = ()
    volts_v: tuple[float, ...] = ()
    why_no_amps: str = "not heard yet"
    why_no_volts: str = "not heard yet"


@dataclass(frozen=True)
class ClockFacts:
    """Two clocks at one moment [s since the Unix epoch]; the autopilot's is None if not set."""

    board_s: float
    autopilot_s: float | None = None


@dataclass(frozen=True)
class DiskFacts:
    """The folder of the records; None if none are kept."""

    folder: Path | None = None
    writable: bool = False
    free_bytes: int | None = None
    problem: str | None = None
    bytes_per_s: float | None = None


class Port(StrEnum):
    """Who has the feed's port."""

    FREE = "free"
    OURS = "ours"
    OTHER = "other"
    REFUSED = "refused"


@dataclass(frozen=True)
class FeedFacts:
    """The feed's address, who has it, and which craft a daemon of ours there names."""

    host: str
    port: int
    held_by: Port = Port.FREE
    craft: str | None = None
    problem: str | None = None


@dataclass(frozen=True)
class PairingFacts:
    """Who may look on from elsewhere.

    Parameters
    ----------
    paired
        Whether the feed was ever opened to the network.
    where
        The address of the encrypted feed; None where it is off.
    names
        The viewers, each with its role.
    exposed
        Files that others than the owner may read.
    problem
        Why it cannot be told, None if it can.
    """

    paired: bool = False
    where: str | None = None
    names: tuple[str, ...] = ()
    exposed: tuple[str, ...] = ()
    problem: str | None = None


@dataclass(frozen=True)
class Facts:
    """All that is judged."""

    link: LinkFacts
    clock: ClockFacts
    feed: FeedFacts
    autopilot: AutopilotFacts = AutopilotFacts()
    fix: FixFacts = FixFacts()
    power: PowerFacts = PowerFacts()
    disk: DiskFacts = DiskFacts()
    pairing: PairingFacts = PairingFacts()
    profile: Profile = field(default_factory=Profile)
    profile_path: Path | None = None
