"""The terminal dashboard: one app, a file for each view and widget, one stylesheet."""
