"""The crafts that this machine is paired with: their keys, tokens and last addresses.

Only its owner may read the file: a token admits anybody who has it.
"""

import json
import stat
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from groundside.connection.preferences import preferences_path
from onboard.crew.members import free_name
from onboard.dataclass import dataclass
from onboard.errors import UsageError, cause_of
from onboard.files.private_folder import make_own_folder
from onboard.files.whole_file import write_whole

SCHEMA = 1
MOST_BYTES = 1 << 20
HOSTS_MOST = 4


@dataclass(frozen=True)
class Craft:
    """A paired craft.

    Parameters
    ----------
    name
        The name the craft gives itself; a number is appended if another craft has it too.
    fingerprint
        SHA-256 of its certificate, hexadecimal.
    token
        The token that admits this machine.
    role
        `crew` or `viewer`.
    hosts
        Addresses at which it was found, the latest first.
    port
        Port of its encrypted feed.
    """

    name: str
    fingerprint: str
    token: str
    role: str
    hosts: tuple[str, ...]
    port: int

    def found_at(self, host: str, port: int) -> "Craft":
        """Return a copy with the address at which it has just been found."""
        others = tuple(one for one in self.hosts if one != host)
        return replace(self, hosts=(host, *others)[:HOSTS_MOST], port=port)


def crafts_path() -> Path:
    """Return the path of the crafts' file, beside the preferences."""
    return preferences_path().with_name("crafts.json")


class CraftBook:
    """The crafts' file.

    Parameters
    ----------
    path
        Path of the file; it need not exist.

    Raises
    ------
    UsageError
        If the file exists but is unusable, or others may read it.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self.crafts = _read(path)

    def remember(self, craft: Craft) -> Craft:
        """Store a craft, replacing any entry with its key; return it as stored.

        Raises
        ------
        UsageError
            If the file cannot be written.
        """
        others = [one for one in self.crafts if one.fingerprint != craft.fingerprint]
        stored = replace(
            craft, name=free_name(craft.name, {one.name for one in others}, len(craft.name))
        )
        if self.crafts != (crafts := (*others, stored)):
            self._write(crafts)
        return stored

    def forget(self, name: str) -> None:
        """Forget a craft.

        Raises
        ------
        UsageError
            If no craft has that name, or the file cannot be written.
        """
        rest = tuple(one for one in self.crafts if one.name != name)
        if rest == self.crafts:
            known = ", ".join(one.name for one in self.crafts) or "none"
            raise UsageError(f"--forget {name}: no craft of that name: known: {known}")
        self._write(rest)

    def at(self, host: str, port: int | None = None) -> Craft | None:
        """Return the craft last found at a host and port; without a port, at any port."""
        for craft in reversed(self.crafts):
            if host in craft.hosts and port in (None, craft.port):
                return craft.found_at(host, craft.port)
        return None

    def named(self, name: str) -> Craft | None:
        """Return the craft of that name."""
        return next((one for one in self.crafts if one.name == name), None)

    def _write(self, crafts: tuple[Craft, ...]) -> None:
        content = {"schema": SCHEMA, "crafts": [asdict(one) for one in crafts]}
        try:
            make_own_folder(self._path.parent)
            write_whole(self._path, json.dumps(content, indent=1) + "\n")
        except OSError as problem:
            raise UsageError(f"{self._path}: cannot be written: {cause_of(problem)}") from None
        self.crafts = crafts


def _read(path: Path) -> tuple[Craft, ...]:
    try:
        status = path.stat()
        if stat.S_IMODE(status.st_mode) & 0o077:
            raise UsageError(f"{path}: others may read it: chmod 600 {path}")
        if status.st_size > MOST_BYTES:
            raise ValueError
        raw = json.loads(path.read_text(encoding="utf-8"))
        if set(raw) != {"schema", "crafts"} or raw["schema"] != SCHEMA:
            raise ValueError
        return tuple(_craft(one) for one in raw["crafts"])
    except (FileNotFoundError, NotADirectoryError):
        return ()
    except (OSError, ValueError, TypeError, KeyError, RecursionError):
        raise UsageError(
            f"{path}: cannot be used: mend its owner, or delete it and pair anew"
        ) from None


def _craft(raw: dict[str, Any]) -> Craft:
    craft = Craft(**raw)
    texts = (craft.name, craft.fingerprint, craft.token, craft.role, *craft.hosts)
    if not all(isinstance(one, str) and one.isprintable() for one in texts):
        raise ValueError
    if type(craft.port) is not int or not 0 < craft.port < 65536 or not craft.hosts:
        raise ValueError
    bytes.fromhex(craft.fingerprint)
    return replace(craft, hosts=tuple(craft.hosts))
