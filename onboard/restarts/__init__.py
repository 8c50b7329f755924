"""A trip that continues over restarts: see `README.md`."""
