"""`reconcile`: compare what the charger put back with what the logs counted."""
