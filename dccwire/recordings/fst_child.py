"""What a child process does to read an FST file (see `fst`).

pywellen ends the whole process at some damaged files, and no exception handler helps: so it runs in
one of its own.
"""

import json
from array import array
from collections.abc import Iterator
from importlib import import_module
from itertools import islice
from typing import BinaryIO

CHANGES_A_BLOCK = 1 << 16
#: 0, 1, and 2 for what is no defined level.
_LEVELS = {"0": 0, "1": 1, "l": 0, "h": 1}


def main(arguments: list[str], target: BinaryIO) -> None:
    """Write a line of JSON for each variable of the file at a path.

    With the numbers of a variable and a bit, too: blocks of its changes instead, their number
    (8 bytes), times (8 bytes each) and levels (a byte each), integers of the machine's order.
    """
    waveform = import_module("pywellen").Waveform(arguments[0], multi_threaded=False)
    variables = list(waveform.all_vars())
    if len(arguments) > 1:
        send_changes(iter(variables[int(arguments[1])].signal), int(arguments[2]), target)
        return
    # The whole name, the signal (several names may share one), the width (0: no level).
    for variable in variables:
        width = 0 if variable.is_real or variable.is_string else variable.bitwidth or 0
        line = json.dumps([variable.full_name, str(variable.signal_id), width])
        target.write(line.encode() + b"\n")


def send_changes(changes: Iterator[tuple[int, int | str]], bit: int, target: BinaryIO) -> None:
    """All changes of one bit, in blocks."""
    while part := list(islice(changes, CHANGES_A_BLOCK)):
        target.write(array("Q", [len(part)]).tobytes())
        target.write(array("Q", [time for time, _ in part]).tobytes())
        target.write(bytes(_level(value, bit) for _, value in part))


def _level(value: int | str, bit: int) -> int:
    if isinstance(value, int):
        return value >> bit & 1
    return _LEVELS.get(value[-1 - bit : len(value) - bit], 2)
