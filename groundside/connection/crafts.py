"""The crafts that this machine is paired with: how each is known, and the token that it gave.

Readable by the owner only: whoever has a token looks on.
"""

import json
import stat
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from groundside.connection.preferences import preferences_path
from onboard.errors import UsageError
from onboard.files.private_folder import make_own_folder
from onboard.files.whole_file import write_whole

SCHEMA = 1
MOST_BYTES = 1 << 20
HOSTS_MOST = 4


@dataclass(frozen=True)
class Craft:
    """A craft.

    Parameters
    ----------
    name
        What it calls itself; another of that name has a number behind it.
    fingerprint
        SHA-256 of its certificate, hexadecimal.
    token
        What lets this machine in.
    role
        `crew` or `viewer`.
    hosts
        Where it was found, the last place first.
    port
        Of its encrypted feed.
    """

    name: str
    fingerprint: str
    token: str
    role: str
    hosts: tuple[str, ...]
    port: int

    def found_at(self, host: str, port: int) -> "Craft":
        """Return it with where it was found now."""
        others = tuple(one for one in self.hosts if one != host)
        return replace(self, hosts=(host, *others)[:HOSTS_MOST], port=port)


def crafts_path() -> Path:
    """Return where they are kept: beside what else the viewer remembers."""
    return preferences_path().with_name("crafts.json")


class CraftBook:
    """The crafts' file.

    Parameters
    ----------
    path
        Where it is; it need not be there.

    Raises
    ------
    UsageError
        If it is there and cannot be used, or others may read it.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self.crafts = _read(path)

    def remember(self, craft: Craft) -> Craft:
        """Keep a craft from now on, in place of what was known of it; give it as it is kept.

        Raises
        ------
        UsageError
            If it cannot be written.
        """
        others = [one for one in self.crafts if one.fingerprint != craft.fingerprint]
        kept = replace(craft, name=_free_name(craft.name, {one.name for one in others}))
        if self.crafts != (there := (*others, kept)):
            self._write(there)
        return kept

    def forget(self, name: str) -> None:
        """Forget a craft.

        Raises
        ------
        UsageError
            If there is none of that name, or it cannot be written.
        """
        rest = tuple(one for one in self.crafts if one.name != name)
        if rest == self.crafts:
            known = ", ".join(one.name for one in self.crafts) or "none"
            raise UsageError(f"--forget {name}: no craft of that name: known: {known}")
        self._write(rest)

    def at(self, host: str, port: int | None = None) -> Craft | None:
        """Return the craft that was found at an address, at any port without one."""
        for craft in reversed(self.crafts):
            if host in craft.hosts and port in (None, craft.port):
                return craft.found_at(host, craft.port)
        return None

    def named(self, name: str) -> Craft | None:
        """Return the craft of a name."""
        return next((one for one in self.crafts if one.name == name), None)

    def _write(self, crafts: tuple[Craft, ...]) -> None:
        stated = {"schema": SCHEMA, "crafts": [asdict(one) for one in crafts]}
        try:
            make_own_folder(self._path.parent)
            write_whole(self._path, json.dumps(stated, indent=1) + "\n")
        except OSError as problem:
            cause = (problem.strerror or str(problem)).lower()
            raise UsageError(f"{self._path}: cannot be written: {cause}") from None
        self.crafts = crafts


def _read(path: Path) -> tuple[Craft, ...]:
    try:
        there = path.stat()
        if stat.S_IMODE(there.st_mode) & 0o077:
            raise UsageError(f"{path}: others may read it: chmod 600 {path}")
        if there.st_size > MOST_BYTES:
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


def _free_name(wanted: str, taken: set[str]) -> str:
    name, number = wanted, 1
    while name in taken:
        number += 1
        name = f"{wanted}-{number}"
    return name
