"""What a viewer gets of a message: decoded from its line, in JSON's own types."""

import json
from typing import Any

from groundside.units import DEFAULT
from groundside.words.alerts import alert_text
from onboard.contract.alerts import Alert
from onboard.contract.codec import as_line
from onboard.contract.messages import Message


def wire(message: Message) -> dict[str, Any]:
    raw: dict[str, Any] = json.loads(as_line(message))
    return raw


def words(alert: Alert | None) -> str:
    return "" if alert is None else alert_text(alert, DEFAULT)
