"""Trials: set-ups (propellers, trim, load) compared at equal battery power. Numbers only.

README.md has the statistics. One file for each step from a log to what to ride next: seconds, runs,
stretches, leg; double runs, equal power, water, outlier; ranking, judging, places, cautions; and
what they share. It stays on board for the coach.
"""
