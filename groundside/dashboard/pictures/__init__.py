"""Pictures of the dashboard for the README, drawn by `python -m groundside.dashboard.pictures`."""
