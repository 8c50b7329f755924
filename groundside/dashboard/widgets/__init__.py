"""Widgets of the dashboard, one a file; each paints its own lines and only those that changed."""
