"""The coach of a trial: what to ride next, and how the set-ups stand. It only advises."""
