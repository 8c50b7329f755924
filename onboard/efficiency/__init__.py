"""Numbers only: blocks of columns in, figures out. No input or output, no clock, no text."""
