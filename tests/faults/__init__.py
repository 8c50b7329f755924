"""Faults of the real process, file system and link that the daemon must survive."""
