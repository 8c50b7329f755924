"""Bytes in, columns out: links, MAVLink framing, messages to channels, logs, recorder."""
