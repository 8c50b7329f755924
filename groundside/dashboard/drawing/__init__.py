"""Drawing into terminal cells: big type, plots, the arrow home; independent of rides."""
