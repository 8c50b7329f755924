"""The views, one file each: every view answers one question of the rider."""
