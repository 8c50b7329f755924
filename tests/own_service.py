"""A separate service type per test, so that crafts on the tester's network do not interfere."""

import secrets

import pytest

import groundside.connection.discovery
import onboard.crew.announce


def use_own_service(monkeypatch: pytest.MonkeyPatch) -> str:
    """Announce and search under a service name unique to this test; return it."""
    service = f"_ww-{secrets.token_hex(4)}._tcp.local."
    monkeypatch.setattr(groundside.connection.discovery, "SERVICE", service)
    monkeypatch.setattr(onboard.crew.announce, "SERVICE", service)
    return service
