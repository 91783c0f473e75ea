"""What importing and starting cost, against the two libraries that the core depends on.

python tests/benchmarks/importing.py
"""

from __future__ import annotations

import subprocess
import sys
from time import perf_counter


def seconds(code: str) -> float:
    """Wall time of a fresh process that runs the code, the best of nine."""
    best = float("inf")
    for _ in range(9):
        start = perf_counter()
        subprocess.run([sys.executable, "-c", code], check=True, stdout=subprocess.DEVNULL)
        best = min(best, perf_counter() - start)
    return best


def main() -> None:
    """Measure and print."""
    nothing = seconds("pass")
    both = seconds("import bitstring, construct") - nothing
    own = seconds("import dccwire") - nothing
    print(f"import bitstring, construct   {both * 1e3:6.1f} ms")
    print(f"import dccwire                {own * 1e3:6.1f} ms   {own / both:.2f} times as long")
    for words in (["decode", "377443"], ["encode", "idle: Idle"], ["inspect", "377443"]):
        started = seconds(f"from dccwire.cli import main; main({words})") - nothing
        ratio = started / both
        print(f"dccwire {words[0]:21} {started * 1e3:6.1f} ms   {ratio:.2f} times as long")


if __name__ == "__main__":
    main()
