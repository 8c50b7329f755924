"""`compare`: which set-up is better, from a run sheet, marks, or runs found in logs."""
