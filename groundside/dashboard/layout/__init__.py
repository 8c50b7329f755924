"""Layout: allots the rows of the terminal, so that no view ever scrolls.

First the frame around every view, then the ride view or the home view within the rest. Every part
has a minimum height; spare rows go to the parts in the order in which they help a rider.
"""

SIDE_BY_SIDE_COLUMNS = 72
"""Width from which the big figures are side by side; a narrower terminal stacks them."""
