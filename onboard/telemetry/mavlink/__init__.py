"""Bytes to frames and back.

Finding, checking, signing and packing MAVLink frames. No input or output.
"""
