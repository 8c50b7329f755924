"""The terminal dashboard: one app, a screen a view, a widget a file, one stylesheet."""
