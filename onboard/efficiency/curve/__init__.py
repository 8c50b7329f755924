"""The speed-power curve and the water the craft moves through, learned from steady stretches.

`speed_power` opens with the theory.
"""
