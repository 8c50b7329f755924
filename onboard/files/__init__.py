"""Small files and threads that write them: whole or not at all, for their owner only."""
