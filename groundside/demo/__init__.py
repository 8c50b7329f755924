"""The demo: a bundled ride played as MAVLink into a real daemon, without hardware.

Known limits: it only goes forward, as a daemon does. A demo that is killed outright (SIGKILL)
leaves its daemon running.
"""
