"""`sessions`: a season listed, filtered and labelled, with a cache of what each record came to."""
