"""Who may look at the feed from another machine: keys, the crew's tokens, the encrypted door."""
