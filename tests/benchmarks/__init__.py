"""Ratios of CPU time between this code and plain pymavlink on the same bytes, in one run."""
