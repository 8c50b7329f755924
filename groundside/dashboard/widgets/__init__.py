"""Widgets of the dashboard, one file each, which paint content into lines."""
