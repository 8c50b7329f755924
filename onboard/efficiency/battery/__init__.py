"""The battery: chemistry, state of charge, resistance, and the energy that can still be drawn."""
