"""What craft and screen agree on: figures, reasons, alerts, snapshot, trip line, commands, answers.

Typed records in SI units, and codes with values instead of sentences: words are made where they
are read. `codec` alone turns records into JSON and back. `README.md` (the glossary of quantities)
and `schema.json` are written by `python -m onboard.contract`.

Imports nothing else of the project.
"""
