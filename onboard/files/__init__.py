"""Small files: written atomically, readable by the owner only, locked, or written in a thread."""
