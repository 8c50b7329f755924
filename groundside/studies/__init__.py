"""Numbers that never run on the craft: plans, reconciliation, and what several rides come to."""
