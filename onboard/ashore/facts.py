"""Facts gathered by the check, not judged yet. Unknown is None."""

from dataclasses import field
from enum import StrEnum
from pathlib import Path

from onboard.dataclass import dataclass
from onboard.profile import Profile


@dataclass(frozen=True)
class LinkFacts:
    """Traffic on the link.

    Parameters
    ----------
    source
        The link, as for `--link`.
    seconds_s
        Duration of listening [s].
    problem
        Why it could not be opened, or failed; None if neither.
    received_bytes
        None if a running daemon was asked instead.
    messages
        Valid frames of all systems.
    lost
        Messages of the followed autopilot that were lost.
    baud
        Speed of a serial link, None for others.
    asked_daemon
        Whether these are a running daemon's counts.
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
    """Systems on the link; `others` and `armed` are None if a daemon was asked instead."""

    system_id: int | None = None
    wanted: int | None = None
    others: tuple[int, ...] | None = None
    armed: bool | None = None


@dataclass(frozen=True)
class FixFacts:
    """The GPS: `fix` as in the channel `gps`, and speeds while the craft should be at rest.

    `received` is whether the receiver's state is known; a daemon's snapshots do not hold it.
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
    """Readings of the power monitor, after the profile's corrections."""

    amps_a: tuple[float, ...] = ()
    volts_v: tuple[float, ...] = ()
    why_no_amps: str = "not heard yet"
    why_no_volts: str = "not heard yet"


@dataclass(frozen=True)
class ClockFacts:
    """Both clocks at one moment [s since the Unix epoch]; the autopilot's is None if not set."""

    board_s: float
    autopilot_s: float | None = None


@dataclass(frozen=True)
class DiskFacts:
    """The folder for records; None if none are kept."""

    folder: Path | None = None
    writable: bool = False
    free_bytes: int | None = None
    problem: str | None = None
    bytes_per_s: float | None = None


class Port(StrEnum):
    """What uses the feed's port."""

    FREE = "free"
    OURS = "ours"
    OTHER = "other"
    REFUSED = "refused"


@dataclass(frozen=True)
class FeedFacts:
    """The feed's address, what uses it, and the craft of a daemon there."""

    host: str
    port: int
    used_by: Port = Port.FREE
    craft: str | None = None
    problem: str | None = None


@dataclass(frozen=True)
class PairingFacts:
    """Viewers that may connect from elsewhere.

    Parameters
    ----------
    paired
        Whether the feed is open to the network.
    where
        Address of the encrypted feed; None if off.
    names
        Viewers, each with its role.
    exposed
        Files that users other than the owner may read.
    problem
        Why the pairing cannot be read, None if it can.
    """

    paired: bool = False
    where: str | None = None
    names: tuple[str, ...] = ()
    exposed: tuple[str, ...] = ()
    problem: str | None = None


@dataclass(frozen=True)
class Facts:
    """All facts."""

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
