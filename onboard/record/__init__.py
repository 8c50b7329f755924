"""The record.

What the link gave, on the card before anything looks at it, and the marks beside it.
"""
