"""Set-ups compared: runs from sheets, marks and logs; what is said of them."""
