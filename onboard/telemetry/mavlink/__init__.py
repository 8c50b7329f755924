"""MAVLink bytes to frames and back: finding, checking, signing and packing. No input or output."""
