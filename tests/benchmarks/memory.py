"""Peak memory of a ten-hour log's columns, and its time against an hour's."""

import json
import subprocess
import sys
from pathlib import Path

from tests.benchmarks.telemetry_log import SIX

MIB = 1 << 20

# VmHWM is the peak of the process itself; getrusage may return its parent's.
SCRIPT = """
import json, sys, time
from pathlib import Path
from onboard.telemetry.logs.raw_columns import read_messages
def peak():
    lines = Path("/proc/self/status").read_text().splitlines()
    return 1024 * int(next(line for line in lines if line.startswith("VmHWM")).split()[1])
before = peak()
started = time.process_time()
log = read_messages(Path(sys.argv[1]), sys.argv[2:])
print(json.dumps({
    "cpu_s": time.process_time() - started,
    "kept": sum(one.nbytes for one in log.values()),
    "peak": peak() - before,
}))
"""


def measured(path: Path) -> dict[str, float]:
    """Return CPU time [s], retained bytes and peak bytes above the start, of a separate process."""
    run = [sys.executable, "-c", SCRIPT, str(path), *SIX]
    result = subprocess.run(run, capture_output=True, check=True, text=True)
    figures: dict[str, float] = json.loads(result.stdout)
    return figures


def lines(hour: Path, long: Path, hours: int) -> list[str]:
    """Return the lines of this part."""
    one, many = measured(hour), measured(long)
    for _ in range(2):
        one["cpu_s"] = min(one["cpu_s"], measured(hour)["cpu_s"])
        many["cpu_s"] = min(many["cpu_s"], measured(long)["cpu_s"])
    kept, peak = many["kept"] / MIB, many["peak"] / MIB
    needed, hoped = 1.5 * kept + 16, 1.3 * kept + 8
    reached = "aim reached" if peak <= hoped else "reached" if peak <= needed else "NOT REACHED"
    return [
        f"{hours} h log, 6 messages: peak {peak:.1f} MiB over the start for {kept:.1f} MiB kept "
        f"({peak / kept:.2f}x); needed {needed:.0f}, hoped for {hoped:.0f}: {reached}",
        f"{hours} h / 1 h time: {many['cpu_s'] / one['cpu_s']:.1f}x; needed 13x, hoped for 11x",
    ]
