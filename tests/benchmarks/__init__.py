"""Ratios of CPU time between our code and plain pymavlink on the same bytes, in one run."""
