"""Hand-made faults in the code, one at a time: do the tests catch them?

Each `*.toml` here is a list of them. A fault that no test catches is a gap in the tests.

python -m tests.faults.mutants                  all of them
python -m tests.faults.mutants --only battery   those whose list, file or name contains this
"""
