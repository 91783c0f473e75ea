"""Edges a second through the receivers, the first verdict, and a VCD of 10 million edges.

    python tests/benchmarks/receivers.py [MILLION_EDGES]

Prints rates of this run, and the peak memory of reading the VCD in a process of its own (Linux).
Where pywellen is installed, its time for the same file stands beside.
"""

from __future__ import annotations

import random
import subprocess
import sys
import tempfile
from collections.abc import Callable
from functools import reduce
from operator import xor
from pathlib import Path
from time import perf_counter

import numpy as np

from dccwire.conformance import check
from dccwire.framing import stream
from dccwire.receiver import Receiver
from dccwire.receiver.columns import ColumnReceiver
from dccwire.recordings import write_vcd
from dccwire.signal import durations, edges

CHUNK = 1 << 18
READ = """
import re, sys
from pathlib import Path
from time import perf_counter
from dccwire.receiver.columns import ColumnReceiver, PacketColumns
from dccwire.recordings import read
start = perf_counter()
recording = read(sys.argv[1])
receiver = ColumnReceiver(resolution_ns=recording.resolution_ns)
packets = []
for chunk in recording:
    packets += receiver.feed(chunk.edges).parts
packets += receiver.close(recording.end_ns).parts
count = sum(len(part) if isinstance(part, PacketColumns) else 1 for part in packets)
taken = perf_counter() - start
peak = int(re.search(r"VmHWM:\\s+(\\d+)", Path("/proc/self/status").read_text())[1]) / 1024
print(f"{taken:.2f} s, {count} packets, peak {peak:.0f} MB")
"""
WELLEN = """
import sys
from time import perf_counter
import numpy, pywellen
start = perf_counter()
wave = pywellen.Waveform(sys.argv[1])
(signal,) = (one.signal for one in wave.all_vars())
numpy.fromiter((time for time, _ in signal), numpy.int64)
print(f"{perf_counter() - start:.2f} s")
"""


def track(millions: float) -> np.ndarray:
    """Edge times of a station's day: repeated packets of mixed sizes, with jitter of 0.3 us."""
    draw = random.Random(2)
    sent = []
    for _ in range(2000):
        body = bytes([draw.randrange(1, 128), *draw.randbytes(draw.randrange(1, 5))])
        sent.append(body + bytes((reduce(xor, body),)))
        sent.append(b"\xff\x00\xff")
    lengths = np.diff(np.fromiter(edges(durations(stream(sent, 16))), np.int64))
    copies = int(millions * 1e6 / len(lengths)) + 1
    times = np.concatenate(([0], np.cumsum(np.tile(lengths, copies))))
    jitter = np.random.default_rng(3).integers(-300, 300, len(times))
    return np.maximum.accumulate(times + jitter - jitter[0])[: int(millions * 1e6)]


def rate(count: int, work: Callable[[], object]) -> float:
    """Million edges a second, the best of three runs."""
    best = float("inf")
    for _ in range(3):
        start = perf_counter()
        work()
        best = min(best, perf_counter() - start)
    return count / best / 1e6


def main() -> None:
    """Measure and print."""
    millions = float(sys.argv[1]) if len(sys.argv) > 1 else 10
    times = track(millions)
    chunks = [times[start : start + CHUNK] for start in range(0, len(times), CHUNK)]
    some = times[: 10**6].tolist()

    def vectorised() -> None:
        receiver = ColumnReceiver(resolution_ns=1)
        for chunk in chunks:
            receiver.feed(chunk)
        receiver.close()

    def one_at_a_time() -> None:
        receiver = Receiver(resolution_ns=1)
        for edge in some:
            receiver.feed((edge,))

    print(f"vectorised receiver      {rate(len(times), vectorised):6.1f} million edges a second")
    judged = rate(len(times), lambda: check(chunks))
    print(f"the same, all rules      {judged:6.1f}")
    batch = rate(len(some), lambda: Receiver(resolution_ns=1).feed(some))
    print(f"streaming, one batch     {batch:6.1f}")
    print(f"streaming, one a call    {rate(len(some), one_at_a_time):6.1f}")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "track.vcd")
        write_vcd(path, chunks)
        print(f"VCD of {len(times)} edges, {path.stat().st_size >> 20} MB")
        for name, code in (("to packets", READ), ("pywellen alone", WELLEN)):
            done = subprocess.run(
                [sys.executable, "-c", code, str(path)], capture_output=True, text=True
            )
            print(f"  {name:<16} {done.stdout.strip() or done.stderr.strip().splitlines()[-1]}")


if __name__ == "__main__":
    main()
