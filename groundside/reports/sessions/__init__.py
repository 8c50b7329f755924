"""`sessions`: a season listed, filtered and labelled, with a cache of each record's sums."""
