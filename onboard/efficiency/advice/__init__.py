"""Advice: range, best and target speed, the way home, cues; and the conditions of alerts.

What lies ahead is read off one prediction per moment, so that figures cannot contradict each other:
the rows of `speeds_ahead`, and for the way home those of `outlook`.
`schedule` opens with when it is evaluated.
"""
