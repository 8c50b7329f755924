"""The present way of riding, from settled seconds: what 'as now' is, and what it costs."""
