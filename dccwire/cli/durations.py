"""The command for time on the wire: duration, of packets, of reading CVs, and of jobs."""

from __future__ import annotations

import argparse
import json
import re
from collections.abc import Sequence

from dccwire.address import Mode
from dccwire.cli.cvs import read_description
from dccwire.cli.printing import say
from dccwire.cli.words import Commands, add_command, answer
from dccwire.errors import FieldError, TextError
from dccwire.framing import least_preamble
from dccwire.packet import Packet, decode
from dccwire.plan import read_packet
from dccwire.programming import (
    REACHES,
    TIMINGS,
    Assumptions,
    Block,
    blocks_of,
    estimate,
    packet_ns,
    read_job,
)
from dccwire.wording import counted

SHOWN = ("nominal", "least", "most")
"""The timings that are shown; no programmer stretches its zeros."""

CASES = ("best", "mean", "worst")
EPILOG = """\
Counted are the packets that S-9.2.3 demands, without a pause, after one power-on
cycle, and in paged mode a verify of the page register, which it does not ask for. At nominal
timing CV 1-300 take 1.1 to 1.8 minutes in direct mode and 37 minutes on average in paged mode.
Common practice, no source: reading the 300-odd CVs of a sound decoder takes 10 to 13 minutes, since
programmers repeat more than the minimum, wait for recovery and power-up, poll the current, and talk
to a computer over a slow link. A programming track should be limited in energy: to 250 mA, where it
lasts longer than 100 ms (recommended by S-9.2.3 §B). A locomotive may jump at an acknowledgement. A
write on the main reaches every decoder at its address. An idle packet belongs after each packet of
such a write: a decoder need only act on packets to it that lie 5 ms or more apart (S-9.2 §C), and
at addresses 112 to 127 closer ones are to be avoided (footnote 11). An idle takes 5.5 ms or more,
and does not cancel the write.
"""


def add_commands(commands: Commands) -> None:
    """Add the command."""
    help_ = "say how long packets, reading or writing CVs, or a plan take on the wire"
    one = add_command(commands, "duration", _duration, help_)
    one.epilog = EPILOG
    one.add_argument("packets", nargs="*", metavar="PACKET", help="a packet's text, as decode "
                     "prints it, or its bytes in hex")  # fmt: skip
    one.add_argument("--service", action="store_true", help="read bytes in hex as packets of a "
                     "programming track")  # fmt: skip
    one.add_argument("--preamble", type=_count, metavar="ONES", help="of the packets: 14, in "
                     "service mode 20, if not given")  # fmt: skip
    one.add_argument("--cvs", metavar="LIST", help="read these CVs: numbers and ranges, xN for N "
                     "index pages of CV 257-512, as in 1-256,257-512x4")  # fmt: skip
    one.add_argument("--decoder", metavar="FILE", help="read all CVs that a description of a "
                     "decoder has, its own and those with a default")  # fmt: skip
    one.add_argument("--read", metavar="SET", help="read the CVs of a set, CSV or JSON, that hold "
                     "its values; each with its share")  # fmt: skip
    one.add_argument("--write", metavar="NEW", help="write a set of CVs; each with its share")
    one.add_argument("--from", metavar="OLD", dest="old", help="with --write: the set that the "
                     "decoder holds, so that the difference alone is written")  # fmt: skip
    one.add_argument("--main", metavar="ADDRESS", help="with --write: on the main, to 'short 3' or "
                     "'long 3000'")  # fmt: skip
    one.add_argument("--confirm", action="store_true", help="with --write: ask for each value")
    one.add_argument("--plan", metavar="PLAN", help="the packets of a plan; each with its share")
    one.add_argument("--most", type=_count, metavar="N", help="of the parts of a job show the N "
                     "longest alone")  # fmt: skip
    one.add_argument("--mode", choices=REACHES, action="append", help="how CVs are read or written:"
                     " direct, if not given; given twice, of a job both side by side")  # fmt: skip
    one.add_argument("--answer", type=_count, default=2, metavar="N", help="the packet of a step "
                     "at which an acknowledgement is taken, which ends the step: 2, the earliest, "
                     "if not given; 99 ends none early")  # fmt: skip
    one.add_argument("--json", action="store_true", help="one object a line")


def _duration(given: argparse.Namespace) -> int:
    jobs = [given.read, given.write, given.plan]
    asked = [given.cvs, given.decoder, *jobs, given.packets or None]
    if sum(one is not None for one in asked) != 1:
        ways = "packets, --cvs, --decoder, --read, --write or --plan, one of them"
        raise FieldError("duration", ways, [one for one in asked if one is not None] or None)
    given.mode = list(dict.fromkeys(given.mode or ["direct"]))
    if any(one is not None for one in jobs):
        from dccwire.cli.jobs import tell_job

        tell_job(given)
        return 0
    if len(given.mode) > 1:
        raise FieldError("--mode", "one, but for --read and --write", " ".join(given.mode))
    if given.cvs is not None:
        _reading(f"CV {given.cvs}", read_job(given.cvs), given)
        return 0
    if given.decoder is not None:
        one = read_description(given.decoder)
        _reading(f"the CVs of {one.name}", blocks_of({**one.formats, **one.defaults}), given)
        return 0
    mode = Mode.SERVICE if given.service else Mode.OPERATIONS

    def tell(read: Packet | bytes) -> int:
        _packet(read if isinstance(read, Packet) else decode(read, mode=mode), given)
        return 0

    return answer(given.packets, _read, tell)


def _read(text: str) -> Packet | bytes:
    """The packet of a text, which says its mode, or the bytes that hex stands for."""
    try:
        return Packet.from_text(text) if ":" in text else read_packet(text)
    except TextError as error:
        error.add_note("a packet is its text, as in 'idle: Idle', or hex, as in '37 74 43'")
        raise


def _count(text: str) -> int:
    """A number from the command line; longer ones could be neither timed nor printed."""
    if not re.fullmatch(r"[+-]?\d{1,9}", text, re.ASCII):
        problem = FieldError("number", "a whole number of one to nine digits", text)
        raise argparse.ArgumentTypeError(str(problem))
    return int(text)


def _packet(packet: Packet, given: argparse.Namespace) -> None:
    preamble = least_preamble(packet.mode) if given.preamble is None else given.preamble
    times = {name: packet_ns(packet, preamble, TIMINGS[name]) for name in SHOWN}
    bits = packet.to_bits(0)
    ones, zeros = preamble + bits.count(1), bits.count(0)
    if given.json:
        plain = {"preamble": preamble, "ones": ones, "zeros": zeros}
        say(json.dumps({"packet": packet.to_dict(), **plain, "duration_ns": times}))
        return
    say(str(packet))
    say(f"  {ones + zeros} bits, a preamble of {preamble} included: {ones} ones, {zeros} zeros")
    for name, ns in times.items():
        say(f"  {ns / 1e6:8.3f} ms  {_halves(name)}")


def _reading(what: str, blocks: Sequence[Block], given: argparse.Namespace) -> None:
    (mode,) = given.mode
    reach = REACHES[mode]
    found = {
        name: estimate(blocks, reach, assumptions=Assumptions(TIMINGS[name], given.answer))
        for name in SHOWN
    }
    count = found["nominal"].cvs
    if given.json:
        durations = {
            name: {case: getattr(one, case)._asdict() for case in CASES}
            for name, one in found.items()
        }
        plain = {
            "cvs": given.cvs or what,
            "mode": mode,
            "answer": given.answer,
            "values": count,
        }
        say(json.dumps({**plain, "durations": durations}))
        return
    say(f"reading {what} in {mode} mode: {counted(count, 'value')}")
    for name, one in found.items():
        say(f"\n{_halves(name)}")
        say("          packets    seconds  minutes")
        for case in CASES:
            packets, ns = getattr(one, case)
            say(f"  {case:5}{packets:10}{ns / 1e9:11.1f}{ns / 60e9:9.1f}")
    say()
    say("best and worst: each CV holds what is read fastest and slowest;")
    say("mean: all values are equally likely")
    longest = reach(1).procedure.counts().verifies
    early = f"at packet {given.answer}" if given.answer <= longest else "no earlier"
    say(f"acknowledged steps end {early}; the decoder has all these CVs")
    if any(block.index_pages for block in blocks):
        pages = "those described" if given.cvs is None else "CV 31 = 16, CV 32 from 0"
        say(f"index pages: {pages}; each written and verified where it changes")


def _halves(name: str) -> str:
    one = TIMINGS[name]
    return f"{name}: halves of {one.one // 1000} µs (one) and {one.zero // 1000} µs (zero)"
