"""The viewer: dashboard, browser server, replay, demo and reports."""
