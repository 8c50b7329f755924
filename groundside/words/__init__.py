"""Words: every sentence that a person reads about a code, in the reader's units.

One file for each family of codes: `reasons`, `alerts`, `stands`, `refusals`, `remarks`,
`log_remarks`. Each holds a table or two with a row for each code; `filling` puts the values in.
No decision rests on a sentence: it is made where it is shown.
"""
