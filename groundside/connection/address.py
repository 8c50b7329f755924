"""Network addresses as people type and read them: HOST[:PORT]."""

from onboard.errors import UsageError


def parse_address(text: str, default_port: int) -> tuple[str, int]:
    """Split `HOST[:PORT]`; an IPv6 address followed by a port needs brackets.

    Raises
    ------
    UsageError
        If the host is missing or the port is invalid.

    Examples
    --------
    >>> parse_address("192.0.2.7", 27220), parse_address("[::1]:4000", 27220)
    (('192.0.2.7', 27220), ('::1', 4000))
    """
    wanted = f"address {text!r}: expected HOST or HOST:PORT, such as 192.0.2.7:{default_port}"
    rest = text.strip()
    if rest.startswith("["):
        host, closed, rest = rest[1:].partition("]")
        if not closed or (rest and not rest.startswith(":")):
            raise UsageError(wanted)
        port_text = rest[1:] if rest else None
    elif rest.count(":") == 1:
        host, _, port_text = rest.partition(":")
    else:
        host, port_text = rest, None
    if not host or any(c.isspace() or c in "/[]" for c in host):
        raise UsageError(wanted)
    if port_text is None:
        return host, default_port
    is_number = port_text.isascii() and port_text.isdigit() and len(port_text) < 6
    if not (is_number and 0 < int(port_text) < 65536):
        raise UsageError(f"{wanted}; the port is a whole number from 1 to 65535")
    return host, int(port_text)


def format_address(host: str, port: int) -> str:
    """Return `HOST:PORT`, with an IPv6 host in brackets.

    Examples
    --------
    >>> format_address("192.0.2.7", 27220), format_address("::1", 4000)
    ('192.0.2.7:27220', '[::1]:4000')
    """
    return f"[{host}]:{port}" if ":" in host else f"{host}:{port}"
