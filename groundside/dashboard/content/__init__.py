"""Content of the views: a state becomes plain texts here, as frozen dataclasses.

No screen code, so that every text is tested without a terminal.
"""
