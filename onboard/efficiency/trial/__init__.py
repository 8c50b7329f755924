"""Trials: set-ups (propellers, trim, load) compared at equal battery power. Numbers only.

README.md has the statistics. Fifteen files, as each step from a log to a verdict is one: seconds,
stretches, leg; double runs, equal power, water, outlier; ranking, judging, cautions; and what they
share. It stays on board for the coach that is to run on the craft.
"""
