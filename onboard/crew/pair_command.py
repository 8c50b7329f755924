"""The command `pair`: make the key on first use, invite a viewer, list or revoke viewers."""

import argparse
import json
import time
from pathlib import Path
from typing import Any, Final

from onboard.crew.addresses import addresses_for
from onboard.crew.invitation import ADDRESSES_MOST, PIN_BYTES, Invitation
from onboard.crew.keys import (
    EXTRA,
    is_paired,
    make_identity,
    own_fingerprint,
    pairing_folder,
    short_id,
)
from onboard.crew.listen_addresses import Address, listen_addresses
from onboard.crew.members import CODE_LASTS_S, CrewBook, checked_name
from onboard.crew.pinning import door_answers
from onboard.crew.qr_code import printable_qr_code
from onboard.errors import UsageError
from onboard.profile import Profile

SCHEMA: Final = 1
UNNAMED: Final = "(a pairing text)"
"""Stands for codes without a name in the list; revoking it revokes all of them."""
OPENS_S: Final = 2.5
"""Longest wait for the door: a running daemon checks for a key every second."""


def run_pair(arguments: argparse.Namespace, profile: Profile, record: Path) -> int:
    """Pair, list or revoke; return the exit code.

    Raises
    ------
    UsageError
        If it cannot be done.
    """
    folder = pairing_folder(record)
    if arguments.list:
        return _list(folder, arguments.json)
    if arguments.revoke is not None:
        return _revoke(folder, arguments.revoke, arguments.json)
    name = checked_name(arguments.name)
    _, crew = listen_addresses(
        profile.feed, folder, arguments.listen, arguments.crew_listen, paired=True
    )
    if crew is None:
        raise UsageError('feed.crew_listen = "off": nobody can come in: give it an address')
    make_identity(folder)
    addresses = addresses_for(crew[0])
    if not addresses:
        raise UsageError(
            f"{crew[0]}: this board has no network address there yet: connect it, and pair again"
        )
    pin = own_fingerprint(folder)
    code = CrewBook(folder).invite(arguments.role, name)
    invitation = Invitation(addresses[:ADDRESSES_MOST], crew[1], pin[:PIN_BYTES], code)
    answers = _answers_soon(crew, pin)
    if arguments.json:
        print(json.dumps(_as_dict(invitation, arguments.role, name, answers), indent=2))
    else:
        print(*_lines(invitation, arguments.role, short_id(pin), answers), sep="\n")
    return 0


def _as_dict(invitation: Invitation, role: str, name: str, answers: bool) -> dict[str, Any]:
    return {
        "schema": SCHEMA,
        "text": invitation.as_text(),
        "addresses": list(invitation.addresses),
        "port": invitation.port,
        "role": role,
        "name": name or None,
        "lasts_s": CODE_LASTS_S,
        "daemon_answers": answers,
    }


def _lines(invitation: Invitation, role: str, name: str, answers: bool) -> list[str]:
    text = invitation.as_text()
    place = ", ".join(f"{address}:{invitation.port}" for address in invitation.addresses)
    may = {"crew": "look, mark and set targets", "viewer": "look only"}[role]
    lines = [
        f"The craft is wattwake-{name} at {place}.",
        f"On the phone or laptop, in this network, within {CODE_LASTS_S / 60:.0f} minutes:",
        "",
        f"  wattwake-groundside watch {text}",
        "",
        *_qr(text),
        f"It is good for one viewer, which may then {may}.",
        "Later `watch` alone is enough. To see who is in: wattwake-onboard pair --list;",
        "to put one out: wattwake-onboard pair --revoke NAME",
    ]
    if not answers:
        lines.append("The daemon does not answer there yet: start it, as this same user.")
    return lines


def _qr(text: str) -> list[str]:
    """Return the text as a QR code, or a hint at the library that draws it."""
    try:
        return printable_qr_code(text)
    except ImportError:
        return [f"(as a QR code with: {EXTRA})", ""]


def _answers_soon(crew: Address, pin: bytes) -> bool:
    """Return whether a daemon answers within the time it needs to find its first key."""
    until_s = time.monotonic() + OPENS_S
    while not (answers := door_answers(crew, pin)) and time.monotonic() < until_s:
        time.sleep(0.2)
    return answers


def _list(folder: Path, as_json: bool) -> int:
    crew = CrewBook(folder).read()
    waiting = CrewBook(folder).waiting()
    if as_json:
        stated = {
            "schema": SCHEMA,
            "open": is_paired(folder),
            "viewers": [{"name": member.name, "role": member.role} for member in crew.members],
            "waiting": [{"name": code.name or None, "role": code.role} for code in waiting],
        }
        print(json.dumps(stated, indent=2))
        return 0
    if not is_paired(folder):
        print("nobody is paired: the feed is for this board only")
    elif not crew.members:
        print("nobody is paired yet")
    rows: list[tuple[str, str]] = [(member.name, member.role) for member in crew.members]
    rows += [(code.name or UNNAMED, f"{code.role}, not used yet") for code in waiting]
    width = max((len(name) for name, _ in rows), default=0)
    for name, what in rows:
        print(f"{name:<{width}}  {what}")
    return 0


def _revoke(folder: Path, name: str, as_json: bool) -> int:
    book = CrewBook(folder)
    # A viewer may have given itself the very name that stands for nameless codes.
    names = (name, "") if name == UNNAMED else (name,)
    revoked = [book.revoke(name) for name in names] if is_paired(folder) else []
    if not any(revoked):
        known = ", ".join(member.name for member in book.read().members) or "nobody"
        raise UsageError(f"--revoke {name}: nobody of that name is paired: known: {known}")
    if as_json:
        print(json.dumps({"schema": SCHEMA, "revoked": name}))
    else:
        print(f"{name} is put out; a daemon that runs closes its feed within seconds")
    return 0
