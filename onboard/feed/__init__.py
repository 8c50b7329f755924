"""The feed: its server and viewers, and how its lines are cut and decoded on either side.

A snapshot is complete in itself. A viewer for whom a line still waits misses the next one, so it
lags by no more than what the kernel buffers. Commands are taken from this board, and through the
encrypted door from viewers of the role crew: lines of at most 1,024 bytes, 20 a second. The sender
gets an `ack`; once one is carried out, all others get it with `"id": null, "by": false`.
"""
