"""Words: every sentence that a person reads about a code, in the reader's units.

A file a family of codes: `reasons`, `alerts`, `stands`, `refusals`, `remarks`, `log_remarks`. Each
is a table or a few, a row a code; `filling` puts the values in. Nothing decides by a sentence: it
is made where it is painted.
"""
