"""What to do now.

How far it goes, which speed to hold, the way home; and the conditions of alerts.
"""
