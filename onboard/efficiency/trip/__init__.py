"""The trip: its sums, consumption over windows, bands of speed, marked runs, its line over time."""
