"""The terminal dashboard: see README.md. One app, a file a view, a file a widget, one stylesheet."""
