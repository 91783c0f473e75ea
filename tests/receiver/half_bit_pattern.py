"""A second reading of the standards' pages: packets by a regular expression over half-bits.

One letter a half-bit: `1` lasts 52 to 64 µs, `0` 90 to 10000 µs (S-9.1 §A, Table 1, tr1 and tr0),
`s` less than 52 µs, `m` between the two, `-` more than 10000 µs; `e` is the last level, if it held
for 52 µs before the input ends without an edge.
"""

from __future__ import annotations

import re
from itertools import pairwise

_ZERO = "(?:00|0[sm]|[sm]0)"  # both halves, or one of them, in range (E7)
_BIT = f"(?:11|{_ZERO})"
# The first zero fixes which halves belong together (E8). The last half of the end bit may be
# followed by anything, if only it lasts as long as a half of a one must.
_PACKET = re.compile(f"(?P<ones>(?:11){{10,}})(?P<rest>(?:{_ZERO}{_BIT}{{8}}){{1,16}})1[1m0e-]")


def letter(length: int, reach: int = 0) -> str:
    """The letter of a half-bit of so many ns; the windows reach so much further."""
    if length < 52_000 - reach:
        return "s"
    if length <= 64_000 + reach:
        return "1"
    if length < 90_000 - reach:
        return "m"
    return "0" if length <= 10_000_000 + reach else "-"


def merged(edges: list[int], shortest: int = 4_000) -> list[int]:
    """The edges without both edges of each pulse that is too short (M8), first come first."""
    real: list[int] = []
    place = 0
    while place < len(edges):
        if place + 1 < len(edges) and edges[place + 1] - edges[place] < shortest:
            place += 2
        else:
            real.append(edges[place])
            place += 1
    return real


def packets(edges: list[int], resolution_ns: int = 0) -> list[tuple[int, int, bytes]]:
    """Start time, complete ones before it, and bytes of each packet."""
    real = merged(edges)
    reach = max(resolution_ns - 1, 0)
    letters = "".join(letter(b - a, reach) for a, b in pairwise(real))
    if real and edges[-1] - real[-1] >= 52_000:
        letters += "e"
    found = []
    for match in _PACKET.finditer(letters):
        rest = match["rest"]
        pairs = [rest[at : at + 2] for at in range(0, len(rest), 2)]
        bits = "".join("1" if pair == "11" else "0" for pair in pairs)
        data = bytes(int(bits[at + 1 : at + 9], 2) for at in range(0, len(bits), 9))
        found.append((real[match.start("rest")], len(match["ones"]) // 2, data))
    return found
