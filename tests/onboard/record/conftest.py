"""The card that fails on demand, for the tests of the recorder."""

import pytest

from tests.onboard.record.faulty_card import Card


@pytest.fixture
def card(monkeypatch: pytest.MonkeyPatch) -> Card:
    return Card(monkeypatch)
