"""All rules on a VCD, against a plain loop over its lines; the same in two processes; memory.

    python tests/benchmarks/judging.py [MILLION_EDGES]

Prints times of this run, each the least of several in processes of their own that take turns, and
ratios; the peak memory is read on Linux. The package's bytecode is compiled first, as installing
does. `check` is to take no longer than the loop and 60 MB at most, twice the length twice the time
and the same memory, and judging in two processes 0.6 of the time of one, for the same report; that
is without the fourth of a second that importing takes, and stands with it in the line above.
"""

from __future__ import annotations

import compileall
import subprocess
import sys
import tempfile
from pathlib import Path

from receivers import track

import dccwire
from dccwire.recordings import write_vcd

ROUNDS = 5
PEAK = r"""
import re, sys
from pathlib import Path
from time import perf_counter
def tell(seconds, words):
    peak = int(re.search(r"VmHWM:\s+(\d+)", Path("/proc/self/status").read_text())[1]) / 1024
    print(f"{seconds} {peak} {words}")
start = perf_counter()
"""
LOOP = """
lines = 0
for line in open(sys.argv[1]):
    lines += 1
tell(perf_counter() - start, f"{lines} lines")
"""
CHECK = """
from hashlib import sha256
from dccwire.conformance import check
start = perf_counter() if len(sys.argv) > 3 else start  # without importing
report = check(sys.argv[1], processes=int(sys.argv[2]))
taken = perf_counter() - start
told = f"{[*report.to_dicts()]}{report.text(every=True)}"
tell(taken, f"{report.packets} packets, report {sha256(told.encode()).hexdigest()[:12]}")
"""


def least(path: Path, *ways: tuple[str, ...]) -> list[tuple[float, float, str]]:
    """Seconds, peak MB and what is told of each way, the least of the rounds, in turns."""
    found: list[list[tuple[float, float, str]]] = [[] for _ in ways]
    for _ in range(ROUNDS):
        for place, (code, *words) in enumerate(ways):
            command = [sys.executable, "-c", PEAK + code, str(path), *words]
            told = subprocess.run(command, capture_output=True, text=True, check=True).stdout
            seconds, peak, shown = told.strip().split(" ", 2)
            found[place].append((float(seconds), float(peak), shown))
    return [min(some) for some in found]


def main() -> None:
    """Measure and print."""
    millions = float(sys.argv[1]) if len(sys.argv) > 1 else 10
    compileall.compile_dir(dccwire.__path__[0], quiet=1)
    with tempfile.TemporaryDirectory() as folder:
        whole, twice = Path(folder, "whole.vcd"), Path(folder, "twice.vcd")
        write_vcd(whole, [track(millions)])
        write_vcd(twice, [track(2 * millions)])
        loop, one, pair = least(whole, (LOOP,), (CHECK, "1"), (CHECK, "2"))
        alone, two = least(whole, (CHECK, "1", "judging"), (CHECK, "2", "judging"))
        (double,) = least(twice, (CHECK, "1"))
    for name, (seconds, peak, words), of in (
        ("plain loop over the lines", loop, loop),
        ("check, all rules", one, loop),
        ("check, two processes", pair, one),
        ("judging alone", alone, loop),
        ("judging, two processes", two, alone),
        ("check, twice the length", double, one),
    ):
        print(f"{name:<26} {seconds:6.2f} s  {seconds / of[0]:5.2f}  {peak:5.0f} MB  {words}")


if __name__ == "__main__":
    main()
