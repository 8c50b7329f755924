"""The views, one a file: each answers one question of the rider's."""
