"""Meters: cumulative curves of energy and distance, from samples that passed the gates."""
