"""`review`: what saved logs hold, as text, JSON, CSV, pictures and an HTML page.

More files than in other rooms, because one result is shown in five ways: a log is read once
(`summary`, several on all cores in `parallel_review`), put into words once (`report_tables`,
`season_table`), and then printed, drawn or saved by the others.
"""
