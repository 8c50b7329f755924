"""Which instruments count.

What they read now, and the settled seconds cut from what they measured.
"""
