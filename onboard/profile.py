"""The craft profile: what the rider states about battery, sensors, link, feed and record, in TOML.

Each setting is declared once, with its limits and its meaning. An unknown key or an impossible
value is refused with the key's name, what was given and what is allowed.
"""

import dataclasses
import math
import os
import stat
import string
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, get_args, get_origin

from onboard.efficiency.battery.chemistry import CHEMISTRIES
from onboard.errors import ProfileError

DEFAULT_FEED_PORT = 27220
DEFAULT_CREW_PORT = DEFAULT_FEED_PORT + 2

MOST_BYTES = 1 << 20
"""A profile is a page or two; anything larger is something else."""

SHOWN_MOST = 60
"""An error message shows no more than this of a key or a value [characters]."""


def _setting(default: Any, meaning: str, **limits: Any) -> Any:
    return field(default=default, metadata={"meaning": meaning, **limits})


@dataclass(frozen=True)
class Craft:
    """`[craft]`: the boat or board."""

    name: str = _setting("craft", "what to call it", letters_most=80)
    length_waterline_m: float | None = _setting(None, "waterline length [m]", least=0.3, most=30.0)


@dataclass(frozen=True)
class Battery:
    """`[battery]`: the pack. There are no defaults for what only its owner can know."""

    chemistry: str = _setting("", "cell chemistry", choices=tuple(CHEMISTRIES), required=True)
    cells: int = _setting(0, "cells in series", least=1, most=32, required=True)
    capacity_ah: float | None = _setting(None, "rated charge [Ah]", least=0.1, most=2000.0)
    energy_wh: float | None = _setting(None, "usable energy when full [Wh]", least=0.3, most=1e5)
    reserve_fraction: float = _setting(
        0.2, "share of the full energy to keep", least=0.0, below=1.0
    )
    start_fraction: float = _setting(
        1.0, "charge at the start of a trip, as a share of full", least=0.01, most=1.0
    )
    start_sd: float = _setting(0.02, "how well start_fraction is known", least=0.0, most=0.5)
    capacity_sd: float = _setting(
        0.03, "how well the full charge or energy is known, as a share of it", least=0.0, most=0.5
    )
    resistance_ohm: float | None = _setting(
        None, "internal resistance of the whole pack [ohm]", least=1e-4, most=10.0
    )
    cutoff_v: float | None = _setting(
        None, "voltage of the whole pack to stop at [V]", least=1.0, most=200.0
    )

    @property
    def full_wh(self) -> float:
        """Energy when full [Wh], by `energy_wh`, else charge times the chemistry's mean voltage."""
        if self.energy_wh is not None:
            return self.energy_wh
        return (self.capacity_ah or 0.0) * self.cells * CHEMISTRIES[self.chemistry].nominal_v

    @property
    def charged_v(self) -> float:
        """Voltage of the whole pack when it is charged [V]."""
        return self.cells * CHEMISTRIES[self.chemistry].full_v

    @property
    def full_ah(self) -> float:
        """Charge when full [Ah], by `capacity_ah`, else energy over that mean voltage."""
        return self.capacity_ah or self.full_wh / (
            self.cells * CHEMISTRIES[self.chemistry].nominal_v
        )


@dataclass(frozen=True)
class Sensors:
    """`[sensors]`: corrections, and how well each is known (one standard deviation)."""

    current_scale: float = _setting(1.0, "true current over reported", above=0.1, below=10.0)
    current_offset_a: float = _setting(0.0, "added after scaling [A]", least=-50.0, most=50.0)
    voltage_scale: float = _setting(1.0, "true voltage over reported", above=0.1, below=10.0)
    current_scale_sd: float = _setting(0.02, "how well current_scale is known", least=0.0, most=1.0)
    current_offset_sd_a: float = _setting(
        0.02, "how well current_offset_a is known [A]", least=0.0, most=10.0
    )
    voltage_scale_sd: float = _setting(
        0.005, "how well voltage_scale is known", least=0.0, most=1.0
    )


@dataclass(frozen=True)
class Drive:
    """`[drive]`: motor and gear."""

    kv_rpm_per_v: float | None = _setting(None, "motor constant [rpm/V]", least=1.0, most=1e5)
    phase_resistance_ohm: float | None = _setting(
        None, "winding resistance [ohm]", least=1e-4, most=10.0
    )
    no_load_a: float | None = _setting(None, "current without load [A]", least=0.0, most=100.0)
    pole_pairs: int | None = _setting(
        None, "pole pairs, for drives that report electrical rpm", least=1, most=100
    )
    gear_ratio: float = _setting(1.0, "motor turns per propeller turn", least=0.01, most=100.0)
    temperature_most_degc: float = _setting(
        80.0, "drive temperature to warn at [degC]", least=1.0, most=200.0
    )


@dataclass(frozen=True)
class Units:
    """`[units]`: what screens show. Files and feed stay in SI units, watt-hours and km."""

    speed: str = _setting(
        "km/h",
        "speed; distance and consumption go with it: km, km, NM, mi",
        choices=("km/h", "m/s", "kn", "mph"),
    )


@dataclass(frozen=True)
class Link:
    """`[link]`: where the telemetry comes from."""

    connection: str = _setting("udpin:0.0.0.0:14550", "where from, as for --link")
    baud: int = _setting(57600, "speed of a serial link", least=1200, most=4_000_000)
    system_id: int | None = _setting(None, "MAVLink system to follow", least=1, most=255)
    listen_only: bool = _setting(False, "send nothing at all, not even that somebody is there")
    signing_key: str | None = _setting(
        None, "key shared with the autopilot: unsigned frames are refused", hex_digits=64
    )


@dataclass(frozen=True)
class Feed:
    """`[feed]`: where viewers connect."""

    listen: str = _setting(f"127.0.0.1:{DEFAULT_FEED_PORT}", "address and port, as for --listen")
    crew_listen: str = _setting(
        f"0.0.0.0:{DEFAULT_CREW_PORT}",
        "where paired viewers connect once the craft was paired; off takes none",
    )
    viewers_most: int = _setting(32, "paired viewers at a time", least=1, most=256)


@dataclass(frozen=True)
class Record:
    """`[record]`: where sessions are kept."""

    directory: str | None = _setting(None, "folder for session records, as for --record")


@dataclass(frozen=True)
class Profile:
    """All of a craft's settings. Everything has a default but the battery."""

    craft: Craft = Craft()
    battery: Battery | None = None
    sensors: Sensors = Sensors()
    drive: Drive = Drive()
    units: Units = Units()
    link: Link = Link()
    feed: Feed = Feed()
    record: Record = Record()


def load_profile(path: Path) -> Profile:
    """Read a profile.

    Raises
    ------
    ProfileError
        If the file cannot be read, is no TOML, or holds a key or value that is not allowed.
    """
    return read_profile(path)[0]


def read_profile(path: Path) -> tuple[Profile, str]:
    """Read a profile, and give its text too; see `load_profile`."""
    try:
        text = _text(path)
        return parse_profile(text), text
    except OSError as problem:
        raise ProfileError(f"{path}: cannot be read ({problem.strerror})") from None
    except UnicodeDecodeError:
        raise ProfileError(f"{path}: not a text file: expected TOML") from None
    except ProfileError as problem:
        raise ProfileError(f"{path}: {problem}") from None


def _text(path: Path) -> str:
    # Non-blocking: a pipe that nobody writes to would hold up the figures on SIGHUP.
    with os.fdopen(os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC), "rb") as file:
        if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
            raise ProfileError("not a regular file: expected TOML")
        data = file.read(MOST_BYTES + 1)
    if len(data) > MOST_BYTES:
        raise ProfileError(f"more than {MOST_BYTES} bytes: expected TOML")
    return data.decode("utf-8").replace("\r\n", "\n")


def parse_profile(text: str) -> Profile:
    r"""Read a profile from TOML text.

    Raises
    ------
    ProfileError
        If it is no TOML, or holds a key or value that is not allowed.

    Examples
    --------
    >>> parse_profile("[battery]\nchemistry = 'lfp'\ncells = 0")
    Traceback (most recent call last):
    onboard.errors.ProfileError: battery.cells = 0: expected a whole number from 1 to 32
    """
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise ProfileError(f"not valid TOML: {_cut(str(problem), 2 * SHOWN_MOST)}") from None
    except (ValueError, RecursionError):
        # The standard library's limits: numbers of thousands of digits, brackets a thousand deep.
        raise ProfileError("not valid TOML: too long a number or too deep a list") from None
    sections = {
        "craft": Craft,
        "battery": Battery,
        "sensors": Sensors,
        "drive": Drive,
        "units": Units,
        "link": Link,
        "feed": Feed,
        "record": Record,
    }
    _refuse_unknown("", tables, sections)
    values: dict[str, Any] = {}
    for name, table in tables.items():
        if not isinstance(table, dict):
            raise ProfileError(f"{name} = {as_given(table)}: expected a table, [{name}]")
        values[name] = _section(name, sections[name], table)
    profile = Profile(**values)
    battery = profile.battery
    if battery and battery.capacity_ah is None and battery.energy_wh is None:
        raise ProfileError("battery: expected capacity_ah or energy_wh, found neither")
    if battery and battery.reserve_fraction >= battery.start_fraction:
        raise ProfileError(
            f"battery.reserve_fraction = {battery.reserve_fraction}: expected less than "
            f"battery.start_fraction, {battery.start_fraction}"
        )
    if battery and battery.cutoff_v is not None and battery.cutoff_v >= battery.charged_v:
        raise ProfileError(
            f"battery.cutoff_v = {battery.cutoff_v}: expected less than {battery.charged_v:g}, "
            f"the voltage of {battery.cells} charged cells"
        )
    return profile


def _section(name: str, kind: type[Any], table: dict[str, Any]) -> Any:
    settings = {setting.name: setting for setting in dataclasses.fields(kind)}
    _refuse_unknown(f"{name}.", table, settings)
    for key, setting in settings.items():
        if setting.metadata.get("required") and key not in table:
            raise ProfileError(f"{name}.{key}: missing: expected {_allowed(setting)}")
    return kind(**{key: _checked(name, settings[key], value) for key, value in table.items()})


def _refuse_unknown(prefix: str, given: dict[str, Any], known: dict[str, Any]) -> None:
    for key in given:
        if key not in known:
            raise ProfileError(
                f"{prefix}{_cut(key)}: no such key: expected one of {', '.join(known)}"
            )


def _kind(setting: dataclasses.Field[Any]) -> type:
    kinds = get_args(setting.type) if get_origin(setting.type) else (setting.type,)
    kind = next(kind for kind in kinds if kind is not type(None))
    assert isinstance(kind, type)
    return kind


def _checked(section: str, setting: dataclasses.Field[Any], value: Any) -> Any:
    kind, limits = _kind(setting), setting.metadata
    if kind is float and isinstance(value, int) and not isinstance(value, bool):
        try:
            value = float(value)
        except OverflowError:
            value = math.inf
    fits = (
        type(value) is kind
        and ("least" not in limits or value >= limits["least"])
        and ("above" not in limits or value > limits["above"])
        and ("most" not in limits or value <= limits["most"])
        and ("below" not in limits or value < limits["below"])
        and ("letters_most" not in limits or _is_name(value, limits["letters_most"]))
        and ("choices" not in limits or value in limits["choices"])
        and ("hex_digits" not in limits or _is_key(value, limits["hex_digits"]))
    )
    if not fits and "hex_digits" in limits:
        # Not shown: it may be nearly the key.
        raise ProfileError(f"{section}.{setting.name}: expected {_allowed(setting)}")
    if not fits:
        raise ProfileError(
            f"{section}.{setting.name} = {as_given(value)}: expected {_allowed(setting)}"
        )
    return value


def as_given(value: Any) -> str:
    """Return a value as an error message shows it: on one line, whatever it is."""
    try:
        return _cut(repr(value))
    except (ValueError, RecursionError):
        return "too long to show"


def _cut(text: str, most: int = SHOWN_MOST) -> str:
    return text if len(text) <= most else text[: most - 3] + "..."


def _is_name(value: Any, most: int) -> bool:
    return isinstance(value, str) and len(value) <= most and value.isprintable()


def _is_key(value: Any, digits: int) -> bool:
    return (
        isinstance(value, str)
        and len(value) == digits
        and all(letter in string.hexdigits for letter in value)
    )


def _allowed(setting: dataclasses.Field[Any]) -> str:
    limits = setting.metadata
    if "choices" in limits:
        return " or ".join(f'"{choice}"' for choice in limits["choices"])
    if "hex_digits" in limits:
        return f"{limits['hex_digits']} hexadecimal digits"
    if "letters_most" in limits:
        return f"up to {limits['letters_most']} printable characters"
    kind = {bool: "true or false", int: "a whole number", float: "a number", str: "text"}[
        _kind(setting)
    ]
    if "least" in limits and "most" in limits:
        return f"{kind} from {limits['least']:g} to {limits['most']:g}"
    words = [
        f"{word} {limits[key]:g}"
        for key, word in (
            ("least", "at least"),
            ("above", "above"),
            ("most", "at most"),
            ("below", "below"),
        )
        if key in limits
    ]
    return " ".join([kind, " and ".join(words)]).strip()


def profile_for(given: Path | None, log: Path) -> Profile:
    """Return the profile that was named, else the one kept beside the record, else the defaults.

    Raises
    ------
    ProfileError
        If it cannot be read.
    """
    kept = (log if log.is_dir() else log.parent) / "profile.toml"
    if given is not None or kept.is_file():
        return load_profile(given or kept)
    return Profile()
