"""Sources: which instruments count, what they read, and the settled seconds cut from them."""
