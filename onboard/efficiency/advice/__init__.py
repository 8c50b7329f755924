"""Advice: range, best and target speed, the way home, cues; and the conditions of alerts.

All of it is read off one `outlook` per moment, so that it cannot contradict itself. `schedule`
opens with when it is evaluated.
"""
