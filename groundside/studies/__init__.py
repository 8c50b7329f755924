"""Numbers that never run on the craft: plans, reconciliation, totals of rides, series to draw."""
