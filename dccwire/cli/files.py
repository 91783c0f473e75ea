"""The commands that list what is in recordings, and write them: packets, compose."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Iterable, Iterator
from functools import lru_cache
from itertools import chain
from math import inf
from typing import TYPE_CHECKING, Any

from dccwire.address import Mode
from dccwire.cli.printing import complain, say
from dccwire.cli.reading import List, add_reader, number, open_recording, progress_of, seen_in
from dccwire.cli.words import Commands, add_command, text_of
from dccwire.errors import FieldError, Reason, RecordingError
from dccwire.notation import address_from_text
from dccwire.wording import KINDS, wrapped

if TYPE_CHECKING:
    from dccwire.receiver import Event
    from dccwire.recordings import Recording


def add_commands(commands: Commands) -> None:
    """Add the two commands."""
    add = add_reader(commands, "packets", _packets, "list the packets of a recording")
    add("--json", action="store_true", help="one object a line")
    add("--to", metavar="ADDRESS", help="packets to this address alone, such as 'short 3'")
    add("--kind", choices=KINDS, help="packets about this alone")
    add("--changes", action="store_true", help="packets that say other than the last alike")
    add("--from", type=number, default=0, metavar="S", dest="begin", help="from this second on")
    add("--until", type=number, default=inf, metavar="S", help="up to this second")
    add = add_command(commands, "compose", _compose, "write a recording of a plan").add_argument
    add("plan", metavar="PLAN", help="a packet a line, with options; - reads lines")
    add("file", metavar="FILE", help="what to write: .vcd or .csv")
    add("--jitter", type=number, default=0, metavar="US", help="of each edge, at most")
    add("--sampling", type=number, default=0.001, metavar="US", help="edges at multiples of this")
    add("--noise", type=number, default=0, metavar="PULSES", help="spurious pulses a second")
    add("--seed", type=int, default=0, metavar="N", help="of jitter, noise and faults")
    help_ = "plant a fault, in the middle or at packet 0, 1, ...; may be given again"
    add("--fault", action="append", default=[], metavar="NAME[@PLACE]", help=help_)
    add("--list-faults", action=List, of=_faults, help="list what can be planted instead")


def _faults() -> Iterator[str]:
    from dccwire.faults import plantings_in_words

    for name, *words in plantings_in_words():
        yield from wrapped("; ".join(filter(None, words)), 80, f"{name:<27}")


def _events(
    recording: Recording, uncertainty_ns: int, progress: Callable[[], None]
) -> Iterator[Event]:
    from dccwire.receiver.columns import ColumnReceiver

    receiver = ColumnReceiver(resolution_ns=recording.resolution_ns + uncertainty_ns)
    for chunk in recording:
        yield from receiver.feed(chunk.edges)
        if chunk.gap is not None:
            yield from receiver.gap(*chunk.gap)
        progress()
    yield from receiver.close(recording.end_ns)


def _packets(given: argparse.Namespace) -> int:
    from dccwire.receiver import ModeTracker, PacketReceived

    recording = open_recording(given, given.files[0])
    read = 0
    with progress_of([recording], lines=True) as progress:
        tracker = ModeTracker()
        chosen = _choice(given)
        for event in map(tracker.take, _events(recording, given.uncertainty, progress)):
            read += isinstance(event, PacketReceived) and event.packet is not None
            if not chosen(event):
                continue
            told = [json.dumps(_event_to_dict(event))] if given.json else _event_lines(event)
            for line in told:
                say(line)
    for note in recording.notes:
        say(f"dccwire: {note}", sys.stderr)
    if not read:
        complain(f"{recording.path}: no packet; {seen_in(recording)}")
    return 0 if read else 1


def _choice(given: argparse.Namespace) -> Callable[[Event], bool]:
    """Which events the options choose, asked in order."""
    from dccwire.conformance.addresses import kind_of
    from dccwire.receiver import PacketReceived

    to = None if given.to is None else address_from_text(given.to)
    packets_alone = to is not None or given.kind is not None or given.changes
    last: dict[object, bytes] = {}

    def chosen(event: Event) -> bool:
        time = event.start if isinstance(event, PacketReceived) else event.begin
        if not given.begin <= time / 1e9 <= given.until:
            return False
        if not packets_alone:
            return True
        if not isinstance(event, PacketReceived) or (packet := event.packet) is None:
            return False
        kind = kind_of(event.data)
        if to not in (None, packet.address) or given.kind not in (None, kind):
            return False
        alike = packet.address, kind, type(packet.instructions[0]) if packet.instructions else None
        changed, last[alike] = last.get(alike) != event.data, event.data
        return changed or not given.changes

    return chosen


def _event_to_dict(event: Event) -> dict[str, Any]:
    """What `packets --json` says of an event."""
    from dccwire.receiver import CutOff, Fault, Gap, PacketReceived

    told: dict[str, Any] = {"event": "stray", "time_ns": event.begin}
    told |= {"bytes": "", "preamble": None, "packet": None, "findings": [], "end_ns": event.end}
    if isinstance(event, (PacketReceived, Fault, CutOff)):
        told |= {"bytes": event.data.hex(" ").upper(), "preamble": event.preamble}
    match event:
        case PacketReceived():
            told |= {"event": "packet", "time_ns": event.start}
            told |= _packet_to_dict(event.data, event.mode)
        case Fault():
            told |= {"event": "fault", "reason": event.reason.value}
        case CutOff():
            told["event"] = "cut-off"
        case Gap():
            told["event"] = "gap"
    return told


@lru_cache(maxsize=4096)
def _packet_to_dict(data: bytes, mode: Mode) -> dict[str, Any]:
    from dccwire.inspection import inspect

    found = inspect(data, mode=mode)
    packet = found.packet and found.packet.to_dict()
    return {"packet": packet, "findings": [one.to_dict() for one in found.findings]}


@lru_cache(maxsize=4096)
def _packet_words(data: bytes, mode: Mode) -> tuple[str, ...]:
    """What bytes say, with what `decode` adds, and what is odd about them."""
    from dccwire.inspection import inspect

    found = inspect(data, mode=mode)
    known = found.packet or found.unverified
    phrase = known.phrase() if known else ""
    words = f"{known or 'no packet'}{' # ' * bool(phrase)}{phrase}"
    return words, *(f"{one.reason}: {one.message}" for one in found.findings)


def _event_lines(event: Event) -> Iterator[str]:
    """What `packets` says of an event: time in ms, ones of the preamble, bytes, meaning."""
    from dccwire.receiver import CutOff, Fault, Gap, PacketReceived

    time = event.start if isinstance(event, PacketReceived) else event.begin
    head = f"{time / 1e6:11.3f} {'':4}  "
    if isinstance(event, (PacketReceived, Fault)):
        head = f"{time / 1e6:11.3f} {event.preamble:>4}  "
    length = f"{(event.end - event.begin) / 1e6:.3f} ms"
    match event:
        case PacketReceived():
            words, *others = _packet_words(event.data, event.mode)
            yield from wrapped(words, 80, f"{head}{event.data.hex(' ').upper():<17}  ")
            for other in others:
                yield from wrapped(other, 80, f"{'':18}! ")
        case Fault():
            read = f", {event.data.hex(' ').upper()} read" * bool(event.data)
            yield from wrapped(f"{event.reason}: {event.reason.meaning}{read}", 80, f"{head}! ")
        case CutOff():
            read = " ".join((event.data.hex(" ").upper(), event.bits)).strip()
            yield from wrapped(f"cut off{': ' * bool(read)}{read}", 80, head)
        case Gap():
            yield f"{head}gap: no signal for {length}"
        case _:
            yield f"{head}of no packet: half-bits for {length}"


def _compose(given: argparse.Namespace) -> int:
    from dccwire.plan import read_plan
    from dccwire.recordings import write_csv, write_vcd
    from dccwire.synthesis import synthesize

    writers = {".vcd": write_vcd, ".csv": write_csv}
    write = writers.get(given.file[-4:].lower())
    if write is None:
        raise FieldError("file", "a name that ends in .vcd or .csv", given.file)
    sendings = read_plan(text_of(given.plan).splitlines())
    first = next(sendings, None)
    if first is None:
        raise RecordingError(Reason.FILE, given.plan, "has nothing to send", "", "a packet a line")
    jitter = round(given.jitter * 1e3)
    signal = {
        "start_ns": max(first.timing.zero, jitter),
        "jitter_ns": jitter,
        "sampling_ns": round(given.sampling * 1e3),
        "pulses_per_second": given.noise,
        "seed": given.seed,
    }
    sendings = chain([first], sendings)
    if given.fault:
        from dccwire.faults import plant

        edges: Iterable[int] = plant(sendings, *given.fault, **signal).edges
    else:  # which need not be held in memory
        edges = synthesize(sendings, **signal)
    write(given.file, edges)
    return 0
