"""Drawing into terminal cells: big type, plots, the arrow to home. It knows nothing of rides."""
