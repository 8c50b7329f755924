"""A simulated craft with known truth, and the MAVLink stream that its autopilot would send.

It shares nothing with the packages under test: neither code nor assumptions.
"""
