"""`plan`: the next trip, from the speed-power curve that was learned."""
