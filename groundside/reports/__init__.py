"""Commands that read saved logs ashore: a room for each, and what they share.

Their output for other programs is described in README.md.
"""
