"""Frames to columns in SI units on the autopilot's clock.

A row a message, and one decoder for link and log.
"""
