"""A trip that goes on over restarts: see `README.md`."""
