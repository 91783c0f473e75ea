"""What the tests of recordings share."""

from __future__ import annotations

from dccwire.framing import to_bits
from dccwire.recordings import Recording
from dccwire.signal import durations, edges


def track_edges(packets: int = 3, start_ns: int = 58_000) -> list[int]:
    """The edges of some packets with right error bytes: bytes, then their exclusive OR."""
    bits = []
    for number in range(packets):
        data = bytes([3 + number, 0x3F])
        bits += list(to_bits(data + bytes([data[0] ^ data[1]])))
    return list(edges(durations(bits), start_ns))


def edges_of(recording: Recording) -> list[int]:
    """All edges of a recording."""
    return [edge for chunk in recording for edge in chunk.edges.tolist()]


def vcd_text(
    body: str,
    *,
    identifier: str = "!",
    name: str = "track",
    timescale: str = "$timescale 1 ns $end\n",
    more: str = "",
) -> str:
    """A VCD file of one wire (and `more` declarations) with this body."""
    return (
        f"{timescale}$scope module top $end\n$var wire 1 {identifier} {name} $end\n{more}"
        f"$upscope $end\n$enddefinitions $end\n{body}"
    )


def vcd_of(signals, names=None, timescale="1 ns"):
    """A VCD file of several wires, each with its edges."""
    codes = {name: chr(ord("A") + number) for number, name in enumerate(signals)}
    changes = sorted(
        (time, codes[name], number % 2)
        for name, edges in signals.items()
        for number, time in enumerate(edges, 1)
    )
    lines = [f"$timescale {timescale} $end", "$scope module top $end"]
    lines += [f"$var wire 1 {code} {name} $end" for name, code in codes.items()]
    lines += ["$upscope $end", "$enddefinitions $end", "#0"]
    lines += [f"0{code}" for code in codes.values()]
    lines += [f"#{time}\n{level}{code}" for time, code, level in changes]
    return "\n".join(lines) + "\n"
