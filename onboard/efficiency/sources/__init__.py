"""Sources: the choice of instruments, their readings, and the settled seconds cut from them."""
