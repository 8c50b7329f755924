"""Statistics that several estimators share.

The errors that figures have in common and the intervals made from them, quantiles and tail
probabilities, outliers, interpolation.
"""
