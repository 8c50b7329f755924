"""The feed: its server and viewers, and how its lines are cut and decoded on either side."""
