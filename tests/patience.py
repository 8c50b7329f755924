"""How long a test waits for what is to happen, on whatever machine: only a hang comes near."""

PATIENCE_S = 120.0
