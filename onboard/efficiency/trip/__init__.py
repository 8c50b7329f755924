"""What a stretch of the trip came to: sums, consumption, bands of speed, marked runs."""
