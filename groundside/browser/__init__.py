"""Serves the dashboard to browsers: a page, and a viewer process behind each that looks at it."""
