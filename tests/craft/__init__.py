"""A simulated craft with known truth, and the MAVLink stream that its autopilot would send.

It shares neither code nor assumptions with the packages under test.
"""
