"""Several decoders on one track, a layout's or a programming track's. Room: imports the decoder."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from dccwire.decoder.hearing import Listener
from dccwire.decoder.multifunction import Decoder
from dccwire.decoder.options import Acknowledgement


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
class Track(Listener):
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

    def _hear(self, data: bytes, start_ns: int, end_ns: int) -> list[Acknowledgement]:
        found: list[Acknowledgement] = []
        for decoder in self.decoders:
            found += decoder.take(data, start_ns, end_ns)
        return merged(found) if found else found

    def power_on(self) -> None:
        """Switch the power of the track off and on."""
        for decoder in self.decoders:
            decoder.power_on()
