"""`plan`: the next trip, from the learned speed-power curve."""
