"""The demo: a bundled ride played as MAVLink into a real daemon, without hardware."""
