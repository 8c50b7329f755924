"""Messages as a viewer receives them: from their lines, in JSON types."""

import json
from typing import Any

from groundside.connection.source import Update
from groundside.words.alerts import alert_text
from groundside.words.units import DEFAULT
from onboard.contract.alerts import Alert
from onboard.contract.codec import as_line, plain
from onboard.contract.messages import Message


def wire(message: Message) -> dict[str, Any]:
    raw: dict[str, Any] = json.loads(as_line(message))
    return raw


def replayed(update: Update) -> dict[str, Any]:
    """Return an update's snapshot with the replay's position."""
    assert update.snapshot is not None
    return wire(update.snapshot) | {"replay": plain(update.replay)}


def words(alert: Alert | None) -> str:
    return "" if alert is None else alert_text(alert, DEFAULT)
