"""The record of the link's frames, its sessions, and marks; see `README.md`."""
