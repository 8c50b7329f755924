"""`review`: the contents of saved logs as text, JSON, CSV, pictures and an HTML page.

It has more files than other rooms because a result is shown in five ways: a log is read once
(`summary`; several on all cores in `parallel_review`), put into words once (`report_tables`,
`season_table`), and then printed, drawn or saved by the others.
"""
