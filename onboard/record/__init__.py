"""The record of what the link gave, its sessions, and marks; see `README.md`."""
