"""The viewer's side of TLS: a craft is known by the fingerprint of its certificate, nothing else.

Names and dates in the certificate are ignored: a board without a clock has no dates. TLS proves
possession of the pinned certificate's key, and that is sufficient.
"""

import hmac
import socket
import ssl
from typing import Final

from onboard.crew.addresses import reached_here_at
from onboard.crew.keys import fingerprint
from onboard.crew.listen_addresses import Address

CONNECT_S: Final = 2.0


def client_context() -> ssl.SSLContext:
    """Return a TLS context that accepts any certificate; check it by `is_pinned`."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    return context


def is_pinned(connection: ssl.SSLSocket | ssl.SSLObject, pin: bytes) -> bool:
    """Return whether the peer's certificate has the pinned fingerprint.

    Parameters
    ----------
    connection
        After its handshake.
    pin
        Fingerprint, or its first bytes.
    """
    certificate = connection.getpeercert(binary_form=True) or b""
    return hmac.compare_digest(fingerprint(certificate)[: len(pin)], pin)


def door_answers(door: Address, pin: bytes) -> bool:
    """Return whether a daemon with this key answers on this board.

    Parameters
    ----------
    door
        Address that the encrypted feed listens on.
    pin
        Fingerprint of the certificate.
    """
    try:
        with (
            socket.create_connection((reached_here_at(door[0]), door[1]), CONNECT_S) as plain,
            client_context().wrap_socket(plain) as secure,
        ):
            return is_pinned(secure, pin)
    except OSError:
        return False
