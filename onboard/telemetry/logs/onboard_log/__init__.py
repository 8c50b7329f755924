"""The autopilot's on-board binary logs: records to columns, and to the channels of a block."""

from onboard.telemetry.logs.onboard_log.log import OnboardLog
from onboard.telemetry.logs.onboard_log.recognise import looks_like_onboard_log
from onboard.telemetry.logs.onboard_log.record_layouts import text
from onboard.telemetry.logs.onboard_log.records import LogRecords, read_records

__all__ = ["LogRecords", "OnboardLog", "looks_like_onboard_log", "read_records", "text"]
