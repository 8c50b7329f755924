"""The child process that reckons a trial: `python -m onboard.coach.reckoner`.

It reads one JSON object a line from its input, and answers each with one. The first names the
sessions' folders and the system; each of the others asks for a reckoning. It ends with
its input: when the daemon closes it, or is gone.
"""

import json
import os
import sys
import traceback
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from onboard.contract.codec import json_line, plain
from onboard.profile import profile_for

if TYPE_CHECKING:
    from onboard.coach.reckoning import Reckoning

NICER = 10
"""By how much it gives way to the daemon, as a `nice` increment."""


def question(folders: list[Path], system_id: int | None) -> bytes:
    """Return the first line for the child."""
    return json_line({"folders": [str(folder) for folder in folders], "system_id": system_id})


def begin(line: bytes) -> "Reckoning":
    """Return the reckoning that the first line asks for, by the profile beside the record."""
    from onboard.coach.reckoning import Reckoning  # for the child alone, not for the daemon

    asked: dict[str, Any] = json.loads(line)
    folders = [Path(folder) for folder in asked["folders"]]
    return Reckoning(folders, profile_for(None, folders[-1]), asked["system_id"])


def serve(asked: BinaryIO, answers: BinaryIO) -> None:
    """Answer every line until the input ends."""
    reckoning = begin(asked.readline())
    for _ in asked:
        try:
            found = plain(reckoning.reckon())
            answer = {"zero_stamp_s": reckoning.zero_stamp_s, "reckoned": found}
        except Exception:
            # The daemon logs it, and starts another child.
            answer = {"fault": traceback.format_exc()}
        answers.write(json_line(answer))
        answers.flush()


def main() -> None:
    """Run until the input ends."""
    os.nice(NICER)
    serve(sys.stdin.buffer, sys.stdout.buffer)


if __name__ == "__main__":
    main()
