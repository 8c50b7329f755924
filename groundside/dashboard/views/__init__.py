"""The views, a file each: every one answers one question of the rider's."""
