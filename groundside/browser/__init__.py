"""Serves the dashboard to browsers: a page, and a dashboard process for each that opens it."""
