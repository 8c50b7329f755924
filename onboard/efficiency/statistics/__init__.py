"""Statistics that several estimators share.

The errors that figures share and the intervals derived from them, quantiles and tail probabilities,
outliers, interpolation.
"""
