"""What the charger put back against what was counted."""
