"""Asks whether known faults are on record for what is installed here; fails where there are.

Without a network, or with an index that keeps no such record, it says that nothing was audited, and
fails nothing: the gate must work on a train.
"""

import json
import subprocess
import sys
from typing import Any

COMMAND = (sys.executable, "-m", "pip_audit", "--local", "--skip-editable")
OPTIONS = ("--format", "json", "--progress-spinner", "off", "--timeout", "10")


def verdict(told: str, complained: str) -> tuple[int, str]:
    """Give the exit code and what to say of an audit's output.

    Parameters
    ----------
    told
        What it printed.
    complained
        What it said of troubles.
    """
    try:
        packages: list[dict[str, Any]] = json.loads(told)["dependencies"]
    except (ValueError, KeyError, TypeError):
        last = (complained.strip().splitlines() or ["it said nothing"])[-1]
        return 0, f"not audited: {last}"
    looked_at = [one for one in packages if "skip_reason" not in one]
    faults = [
        f"{one['name']} {one['version']}: {fault['id']}, mended in "
        f"{', '.join(fault['fix_versions']) or 'no version yet'}"
        for one in looked_at
        for fault in one.get("vulns", ())
    ]
    if faults:
        return 1, "\n".join(faults)
    if not looked_at:
        return 0, "not audited: the index keeps no record of faults"
    skipped = len(packages) - len(looked_at)
    return 0, f"audited {len(looked_at)} packages, no known fault" + (
        f"; {skipped} not audited" if skipped else ""
    )


def main() -> int:
    """Audit; give the exit code."""
    done = subprocess.run((*COMMAND, *OPTIONS), capture_output=True, text=True, check=False)
    code, said = verdict(done.stdout, done.stderr)
    print(said)
    return code


if __name__ == "__main__":
    sys.exit(main())
