"""Statistics that several estimators share.

Quantiles, outliers, and the errors that figures have in common.
"""
