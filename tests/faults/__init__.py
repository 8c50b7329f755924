"""Faults on the real process, file system and link: what the daemon must outlive."""
