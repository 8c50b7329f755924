"""Views of the dashboard, one a file."""
