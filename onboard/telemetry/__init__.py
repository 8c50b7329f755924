"""From bytes to columns: frames, messages, saved logs, and the links to the autopilot."""
