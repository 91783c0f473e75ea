"""The command for time on the wire: duration, of packets and of reading CVs."""

from __future__ import annotations

import argparse
import json
from typing import Any

from dccwire.address import Mode
from dccwire.cli.printing import say
from dccwire.cli.words import Commands, add_command
from dccwire.errors import FieldError
from dccwire.framing import SENT_PREAMBLE
from dccwire.packet import Packet
from dccwire.programming import (
    TIMINGS,
    AddressOnly,
    Assumptions,
    Cost,
    Counts,
    DirectCv,
    PagedCv,
    Register,
    RegisterCounts,
    estimate,
    packet_ns,
    read_job,
)
from dccwire.programming.job import Reach

__all__ = ["add_commands"]

MODES: dict[str, Reach] = {
    "direct": DirectCv,
    "paged": PagedCv,
    "register": Register.of_cv,
    "address-only": AddressOnly.of_cv,
}
SHOWN = ("nominal", "least", "most")
"""The timings that are shown; no programmer stretches its zeros."""

_LONGEST_STEP = RegisterCounts().verifies
CASES = ("best", "mean", "worst")
EPILOG = """\
Counted are the packets that S-9.2.3 demands, without a pause, after one power-on cycle: in direct
mode eight bit verifies a CV and one of the byte, else a verify of each value up to the one held,
and one more to confirm it. At nominal timing CV 1-300 take 1.1 to 1.8 minutes in direct mode and
37 minutes on average in paged mode. Common practice, no source: reading the 300-odd CVs of a sound
decoder takes 10 to 13 minutes. What fills the difference to direct mode: programmers repeat more
than the minimum, wait for recovery and power-up, poll the current, and talk to a computer over a
slow link. A programming track is limited in energy: more than 250 mA may not last longer than
100 ms (S-9.2.3 §B). A locomotive may jump at an acknowledgement. A write on the main reaches every
decoder at its address.
"""


def add_commands(commands: Commands) -> None:
    """Add the command."""
    help_ = "say how long packets, or reading CVs on a programming track, take on the wire"
    one = add_command(commands, "duration", _duration, help_)
    one.epilog = EPILOG
    one.add_argument("packets", nargs="*", metavar="TEXT", help="a packet, as decode prints it")
    one.add_argument("--preamble", type=int, metavar="ONES", help="of the packets: 14, in service "
                     "mode 20, if not given")  # fmt: skip
    one.add_argument("--cvs", metavar="LIST", help="read these CVs: numbers and ranges, xN for N "
                     "index pages of CV 257-512, as in 1-256,257-512x4")  # fmt: skip
    one.add_argument("--mode", choices=MODES, default="direct", help="how they are read: direct, "
                     "if not given")  # fmt: skip
    one.add_argument("--answer", type=int, default=2, metavar="N", help="the packet of a step at "
                     "which an acknowledgement is taken, which ends the step: 2, the earliest, if "
                     "not given; 99 ends none early")  # fmt: skip
    one.add_argument("--json", action="store_true", help="one object a line")


def _duration(given: argparse.Namespace) -> int:
    if (given.cvs is None) is not bool(given.packets):
        raise FieldError("duration", "packets or --cvs, one of them", given.cvs)
    if given.cvs is not None:
        _reading(given)
        return 0
    for packet in [Packet.from_text(text) for text in given.packets]:
        _packet(packet, given)
    return 0


def _packet(packet: Packet, given: argparse.Namespace) -> None:
    preamble = given.preamble
    if preamble is None:
        preamble = Counts().preamble if packet.mode is Mode.SERVICE else SENT_PREAMBLE
    bits = packet.to_bits(preamble)
    times = {name: packet_ns(packet, preamble, TIMINGS[name]) for name in SHOWN}
    if given.json:
        plain = {"preamble": preamble, "ones": bits.count(1), "zeros": bits.count(0)}
        say(json.dumps({"packet": packet.to_dict(), **plain, "duration_ns": times}))
        return
    say(str(packet))
    say(f"  {len(bits)} bits, a preamble of {preamble} included: "
        f"{bits.count(1)} ones, {bits.count(0)} zeros")  # fmt: skip
    for name, ns in times.items():
        say(f"  {ns / 1e6:8.3f} ms  {_halves(name)}")


def _reading(given: argparse.Namespace) -> None:
    blocks = read_job(given.cvs)
    found = {
        name: estimate(
            blocks,
            MODES[given.mode],
            assumptions=Assumptions(timing=TIMINGS[name], answer=given.answer),
        )
        for name in SHOWN
    }
    count = found["nominal"].cvs
    if given.json:
        durations = {
            name: {case: _plain(getattr(one, case)) for case in CASES}
            for name, one in found.items()
        }
        plain = {"cvs": given.cvs, "mode": given.mode, "answer": given.answer, "values": count}
        say(json.dumps({**plain, "durations": durations}))
        return
    number = "1 value" if count == 1 else f"{count} values"
    say(f"reading CV {given.cvs} in {given.mode} mode: {number}")
    for name, one in found.items():
        say()
        say(_halves(name))
        say("          packets    seconds  minutes")
        for case in CASES:
            cost: Cost = getattr(one, case)
            say(f"  {case:5}{cost.packets:10}{cost.ns / 1e9:11.1f}{cost.ns / 60e9:9.1f}")
    say()
    say("best and worst: each CV holds what is read fastest and slowest; mean: all values alike")
    early = f"at packet {given.answer}" if given.answer <= _LONGEST_STEP else "no earlier"
    say(f"acknowledged steps end {early}; the decoder has all these CVs")
    if any(block.index_pages for block in blocks):
        say("index pages: CV 31 = 16, CV 32 from 0; each written and verified where it changes")


def _halves(name: str) -> str:
    one = TIMINGS[name]
    return f"{name}: halves of {one.one // 1000} µs (one) and {one.zero // 1000} µs (zero)"


def _plain(cost: Cost) -> dict[str, Any]:
    return {"packets": cost.packets, "ns": cost.ns}
