"""The command packets: what was sent, chosen and told; what is still written is followed."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Iterator
from functools import lru_cache
from math import inf
from typing import TYPE_CHECKING, Any

from dccwire.address import Mode
from dccwire.cli.printing import complain, flush, say
from dccwire.cli.reading import add_reader, number, open_recordings, progress_of, seen_in
from dccwire.cli.words import Commands
from dccwire.errors import FieldError
from dccwire.notation import address_from_text
from dccwire.wording import KINDS, wrapped

if TYPE_CHECKING:
    from dccwire.receiver import Event
    from dccwire.recordings import Recording


def add_commands(commands: Commands) -> None:
    """Add the command."""
    add = add_reader(commands, "packets", _packets, "list the packets of recordings")
    add("--json", action="store_true", help="one object a line")
    add("--to", metavar="ADDRESS", help="packets to this address alone, such as 'short 3'")
    add("--kind", choices=KINDS, metavar="KIND", help=f"packets about it: {', '.join(KINDS)}")
    add("--changes", action="store_true", help="packets that say other than the last alike")
    add("--from", type=number, default=0, metavar="S", dest="begin", help="from this second on")
    add("--until", type=number, default=inf, metavar="S", help="up to this second")


def _packets(given: argparse.Namespace) -> int:
    if given.until < given.begin:
        raise FieldError("until", f"{given.begin:g} s or more, as --from has it", given.until)
    _choice(given)  # what cannot be chosen is refused before anything is read
    return max([_list(given, recording) for recording in open_recordings(given, live=True)])


def _list(given: argparse.Namespace, recording: Recording) -> int:
    """Print what a recording holds; 0 if there is a packet in it."""
    from dccwire.receiver import ModeTracker, PacketReceived

    live, name = recording.path == "-", {}
    if len(given.files) > 1:
        name = {"file": recording.path}
        if not given.json:
            say(f"{recording.path}:")
    told = _tell_notes(recording, ()) if live else ()
    read, interrupted, chosen = 0, False, _choice(given)
    with progress_of([recording], lines=True) as show:
        try:
            events = _events(recording, given.uncertainty, show, live=live)
            for event in map(ModeTracker().take, events):
                read += isinstance(event, PacketReceived) and event.packet is not None
                if not chosen(event):
                    continue
                for line in (
                    [json.dumps(name | _event_to_dict(event))]
                    if given.json
                    else _event_lines(event)
                ):
                    say(line)
                if live:
                    flush()
        except KeyboardInterrupt:
            interrupted = True
    _tell_notes(recording, told)
    if interrupted:
        raise KeyboardInterrupt
    if not read:
        complain(f"{recording.path}: no packet; {seen_in(recording)}")
    return 0 if read else 1


def _tell_notes(recording: Recording, told: tuple[str, ...]) -> tuple[str, ...]:
    """Tell on standard error what is to be known of a recording, but for what was told before."""
    for note in recording.notes:
        if note not in told:
            say(f"dccwire: {note}", sys.stderr)
    return recording.notes


def _events(
    recording: Recording, uncertainty_ns: int, show: Callable[[], None], *, live: bool
) -> Iterator[Event]:
    """The events of a recording.

    Those of a live one as soon as they are known: with columns a packet waits for the next one.
    """
    from dccwire.receiver import Receiver
    from dccwire.receiver.columns import ColumnReceiver

    receive = Receiver if live else ColumnReceiver
    receiver = receive(resolution_ns=recording.resolution_ns + uncertainty_ns)
    for chunk in recording:
        yield from receiver.feed(chunk.edges)
        if chunk.gap is not None:
            yield from receiver.gap(*chunk.gap)
        show()
    yield from receiver.close(recording.end_ns)


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
