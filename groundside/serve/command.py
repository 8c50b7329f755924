"""The `serve` command: says where the page is, and serves it until it is told to stop."""

import asyncio
import sys
from collections.abc import Callable

from groundside.serve.address import is_loopback, page_addresses, qr_code
from groundside.serve.server import Dashboards, serve

OPEN = (
    "Anybody on this network can see the craft and where it is; nothing can be set from there.\n"
    "Open it in a network of your own only."
)


def run_serve(watch: list[str], host: str, port: int, most: int) -> int:
    """Serve dashboards until a signal comes.

    Parameters
    ----------
    watch
        What stands behind `watch` on a dashboard's command line.
    host, port
        Where to listen.
    most
        How many viewers there may be at a time.

    Returns
    -------
    int
        The exit code.

    Raises
    ------
    WattwakeError
        If the address cannot be had.
    """
    command = [sys.executable, "-m", "groundside", "watch", *watch]
    if not is_loopback(host):
        command.append("--read-only")
    asyncio.run(serve(Dashboards(command, most), host, port, ready=_told(host)))
    return 0


def _told(host: str) -> Callable[[int], None]:
    def say(port: int) -> None:
        addresses = page_addresses(host, port)
        print("the dashboard is at " + "  or  ".join(addresses), flush=True)
        if is_loopback(host):
            print("on this machine only; --bind 0.0.0.0 opens it to the network, to look at")
        else:
            print(OPEN)
        if sys.stdout.isatty():
            print(qr_code(addresses[0]))
        sys.stdout.flush()

    return say
