"""`reconcile`: what the charger put back, against what the logs counted."""
