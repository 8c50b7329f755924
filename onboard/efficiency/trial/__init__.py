"""Trials: runs of set-ups compared at equal battery power. Numbers only, as all of this room."""
