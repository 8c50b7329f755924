"""The daemon: wires everything together, owns the clock, and has the command line."""
