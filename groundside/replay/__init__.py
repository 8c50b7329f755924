"""A saved log as a source of the same snapshots as a live ride.

A session is replayed with what was known when its trip began; a review (`reports/review`) leaves
that out. Known limit: the checkpoints along the way (`seek_index`) take some 80 MB.
"""
