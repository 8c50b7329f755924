"""The craft's power against its speed.

And the water it moves through, learned from steady stretches.
"""
