"""The terminal dashboard: one app, a file a view, a file a widget, one stylesheet (README.md)."""
