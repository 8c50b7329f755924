"""Words: every sentence that a person reads, in the reader's units.

A statement's sentence is a row of `onboard/contract`; `filling` fills its gaps, and the file of its
family (`reasons`, `alerts`, `stands`, `refusals`, `remarks`, `log_remarks`) has a function for the
few that need more than gaps. `figures` writes numbers, `units` converts them. A sentence is made
where it is shown; no code bases a decision on one.
"""
