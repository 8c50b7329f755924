"""Advice: range, best and target speed, the way home, cues; and the conditions of alerts.

What lies ahead is read off one `outlook` per moment, so that figures cannot contradict each other.
`schedule` opens with when it is evaluated.
"""
