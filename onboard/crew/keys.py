"""The craft's key and certificate: made once, readable by the owner only, pinned by fingerprint.

Viewers pin the fingerprint of the whole certificate, which is never renewed: it holds the public
key, can be read without a library, and its dates mean nothing.
"""

import datetime
import hashlib
import os
import pwd
import ssl
import stat
from pathlib import Path
from typing import Final

from onboard.crew.lock import locked
from onboard.crew.members import CREW_NAME
from onboard.errors import UsageError, cause_of
from onboard.files.private_folder import make_own_folder
from onboard.files.whole_file import write_whole

FOLDER_NAME: Final = "pairing"
IDENTITY_NAME: Final = "identity.pem"
EXTRA: Final = "pip install 'wattwake[pair]'"
ID_DIGITS: Final = 8
"""Digits of the fingerprint that tell crafts apart where no security depends on it."""


def pairing_folder(record: Path) -> Path:
    """Return the folder of the pairing: beside the records."""
    return record / FOLDER_NAME


def identity_path(folder: Path) -> Path:
    """Return the path of the file with key and certificate."""
    return folder / IDENTITY_NAME


def is_paired(folder: Path) -> bool:
    """Return whether a key exists, which opens the feed to the network."""
    try:
        return identity_path(folder).is_file()
    except OSError:
        return False


def make_folder(folder: Path) -> None:
    """Create the folder of the pairing, accessible to its owner only.

    Raises
    ------
    UsageError
        If it cannot be created, or is accessible to others.
    """
    try:
        make_own_folder(folder.parent)
        owner = folder.parent.stat().st_uid
        if owner != os.geteuid():
            raise UsageError(f"{folder.parent} is not yours: run pair as {_user(owner)}")
        make_own_folder(folder)
        mode = folder.stat().st_mode
    except OSError as problem:
        raise UsageError(
            f"{folder}: cannot be made: {cause_of(problem)}: "
            "run it as the user that runs the daemon"
        ) from None
    if stat.S_IMODE(mode) & 0o077:
        raise UsageError(f"{folder}: others may look into it: chmod 700 {folder}")


def _user(number: int) -> str:
    """Return a user's name, or the number if there is no name."""
    try:
        return pwd.getpwuid(number).pw_name
    except KeyError:
        return f"user {number}"


def make_identity(folder: Path) -> None:
    """Create a key and its certificate if there are none yet, with an empty crew.

    Raises
    ------
    UsageError
        If the library is not installed, or they cannot be written.
    """
    make_folder(folder)
    # When two pair at once, one creates the key, and both show the same key.
    with locked(folder):
        if is_paired(folder):
            return
        try:
            identity = _new_identity()
            # Members under an earlier key know another craft, and may be why that key is gone.
            (folder / CREW_NAME).unlink(missing_ok=True)
            write_whole(identity_path(folder), identity)
        except OSError as problem:
            raise UsageError(
                f"{identity_path(folder)}: cannot be written: {cause_of(problem)}"
            ) from None


def _new_identity() -> str:
    try:
        from cryptography import x509
        from cryptography.hazmat.primitives import hashes, serialization
        from cryptography.hazmat.primitives.asymmetric import ec
        from cryptography.x509.oid import NameOID
    except ImportError:
        raise UsageError(f"pair: the key needs a library that is not installed: {EXTRA}") from None
    key = ec.generate_private_key(ec.SECP256R1())
    # Reveals nothing about the craft: any peer that connects can read it.
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "wattwake")])
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(datetime.datetime(2000, 1, 1, tzinfo=datetime.UTC))
        # "No well-defined expiration date" (RFC 5280, section 4.1.2.5).
        .not_valid_after(datetime.datetime(9999, 12, 31, 23, 59, 59, tzinfo=datetime.UTC))
        .sign(key, hashes.SHA256())
    )
    pem = serialization.Encoding.PEM
    private = key.private_bytes(
        pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    return (private + certificate.public_bytes(pem)).decode()


def fingerprint(certificate: bytes) -> bytes:
    """Return the SHA-256 of a certificate, 32 bytes.

    Parameters
    ----------
    certificate
        DER-encoded, as a TLS connection returns it.
    """
    return hashlib.sha256(certificate).digest()


def own_fingerprint(folder: Path) -> bytes:
    """Return the fingerprint of the craft's own certificate.

    Raises
    ------
    UsageError
        If it cannot be read.
    """
    path = identity_path(folder)
    try:
        text = path.read_text(encoding="ascii")
        begin = text.index("-----BEGIN CERTIFICATE-----")
        return fingerprint(ssl.PEM_cert_to_DER_cert(text[begin:].strip()))
    except (OSError, ValueError):
        raise UsageError(
            f"{path}: cannot be read: mend its owner, or delete it and pair all viewers anew"
        ) from None


def short_id(fingerprint: bytes) -> str:
    """Return the id a craft announces: the first digits of its fingerprint."""
    return fingerprint.hex()[:ID_DIGITS]


def server_context(folder: Path) -> ssl.SSLContext:
    """Return the door's TLS context: version 1.2 or newer, with the craft's own key.

    Raises
    ------
    UsageError
        If the key cannot be used.
    """
    path = identity_path(folder)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    # No renegotiation or compression: a peer must not make the board do extra work.
    context.options |= ssl.OP_NO_RENEGOTIATION | ssl.OP_NO_COMPRESSION
    context.num_tickets = 0
    try:
        context.load_cert_chain(path)
    except (OSError, ValueError):
        raise UsageError(
            f"{path}: is no key that can be used: delete it and pair all viewers anew"
        ) from None
    return context


def readable_by_others(folder: Path) -> list[Path]:
    """Return the pairing's files that users other than the owner may read or write."""
    found = []
    for path in (folder, *sorted(folder.glob("*"))):
        try:
            mode = os.lstat(path).st_mode
        except OSError:
            continue
        if stat.S_IMODE(mode) & 0o077:
            found.append(path)
    return found
