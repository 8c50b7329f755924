"""Saved logs. `formats` has a row for each format; each format is a file or a folder here."""
