"""Command line of the hand-made faults."""

import argparse
import sys
import tempfile
from collections import Counter
from pathlib import Path

from tests.faults.mutants import __doc__ as usage
from tests.faults.mutants.rows import ROOT, every_list
from tests.faults.mutants.trying import ALL_PASSED, Result, copied, run_tests, try_all


def main() -> int:
    """Try the faults; return 1 if one is not caught or gone, 2 if tests fail without any."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.faults.mutants",
        description=usage,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument(
        "--only", metavar="TEXT", default="", help="list, file or name contains this"
    )
    only = parser.parse_args().only.lower()
    chosen = [
        mutant
        for name, mutants in every_list().items()
        for mutant in mutants
        if any(only in text.lower() for text in (name, mutant.file, mutant.name))
    ]
    if not chosen:
        print("no such fault")
        return 2
    with tempfile.TemporaryDirectory() as folder:
        tree = copied(ROOT, Path(folder) / "tree")
        tests = sorted({test for mutant in chosen for test in mutant.tests})
        # A test that fails without a fault would seem to catch everything.
        if run_tests(tree, tests, patience_s=3600.0) != ALL_PASSED:
            print("without any fault these do not pass:", *tests, sep="\n  ")
            return 2
        found: Counter[Result] = Counter()
        for mutant, result in try_all(tree, chosen):
            found[result] += 1
            print(f"{result.value:>21}  {mutant.file}: {mutant.name}", flush=True)
    print(f"{found[Result.CAUGHT]} of {found.total()} caught")
    return 0 if found[Result.CAUGHT] == found.total() else 1


sys.exit(main())
