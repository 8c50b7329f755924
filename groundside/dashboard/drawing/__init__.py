"""Drawing into terminal cells.

Big type, plots, the arrow to home. What it draws knows nothing of rides.
"""
