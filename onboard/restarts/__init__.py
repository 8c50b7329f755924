"""A trip that goes on over restarts.

Records folded again, clocks compared, and what was learned carried on.
"""
