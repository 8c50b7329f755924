"""The demo: a bundled ride played as real MAVLink into a real daemon, with no hardware."""
