"""All that runs on the craft: telemetry in, figures, feed and record. No screen code."""

__version__ = "0.1.0"
