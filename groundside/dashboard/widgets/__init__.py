"""Widgets of the dashboard, a file each: they paint content into lines."""
