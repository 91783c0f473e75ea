"""Several decoders on one track, a layout's or a programming track's. Room: imports the decoder."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import overload

from dccwire.decoder.hearing import arrival
from dccwire.decoder.multifunction import Decoder
from dccwire.decoder.options import Acknowledgement
from dccwire.packet import Packet
from dccwire.receiver.events import Event


def merged(acknowledgements: Iterable[Acknowledgement]) -> list[Acknowledgement]:
    """What a programmer sees of several: those that overlap or touch are one.

    >>> merged([Acknowledgement(5, 6), Acknowledgement(0, 6), Acknowledgement(20, 6)])
    [Acknowledgement(start_ns=0, duration_ns=11), Acknowledgement(start_ns=20, duration_ns=6)]
    """
    found: list[Acknowledgement] = []
    for one in sorted(acknowledgements):
        if found and one.start_ns <= found[-1].end_ns:
            start = found[-1].start_ns
            found[-1] = Acknowledgement(start, max(found[-1].end_ns, one.end_ns) - start)
        else:
            found.append(one)
    return found


@dataclass(frozen=True, slots=True, eq=False)
class Track:
    """Decoders that hear the same packets.

    >>> from dccwire import Packet
    >>> track = Track((Decoder(), Decoder()))
    >>> packet = Packet.from_text("short 3: FunctionGroupOne functions=F2")
    >>> track.take(packet, 0, 5_000_000)
    []
    >>> [sorted(decoder.functions) for decoder in track]
    [['F2'], ['F2']]
    """

    decoders: tuple[Decoder, ...]

    def __iter__(self) -> Iterator[Decoder]:
        return iter(self.decoders)

    def __len__(self) -> int:
        return len(self.decoders)

    @overload
    def take(self, packet: Event) -> list[Acknowledgement]: ...
    @overload
    def take(self, packet: Packet | bytes, start_ns: int, end_ns: int) -> list[Acknowledgement]: ...
    def take(
        self,
        packet: Packet | bytes | Event,
        start_ns: int | None = None,
        end_ns: int | None = None,
    ) -> list[Acknowledgement]:
        """Give a packet or an event to all; their acknowledgements come back as they merge.

        Raises:
            FieldError: times are missing, or run backwards.
        """
        if type(packet) is not bytes or start_ns is None or end_ns is None:
            came = arrival(packet, start_ns, end_ns)
            if came is None:
                return []
            packet, start_ns, end_ns = came
        found: list[Acknowledgement] = []
        for decoder in self.decoders:
            found += decoder.take(packet, start_ns, end_ns)
        return merged(found) if found else found

    def power_on(self) -> None:
        """Switch the power of the track off and on."""
        for decoder in self.decoders:
            decoder.power_on()
