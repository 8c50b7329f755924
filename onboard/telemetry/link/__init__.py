"""The link to the autopilot.

A file for each kind, the thread that reads it, and the only bytes ever sent.
"""
