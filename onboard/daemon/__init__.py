"""The daemon: wires everything together, and owns the clock."""
