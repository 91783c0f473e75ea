"""A line of packets to a decoder or to a track of several, with times that run on."""

from __future__ import annotations

from dccwire.decoder import Acknowledgement, Decoder, Options, Track
from strategies import with_error_byte

PACKET_NS, GAP_NS = 6_000_000, 1_000_000
"""How long each packet lasts, and the pause before it."""

RESET, IDLE = "00 00", "FF 00"
VERIFY_CV_1_IS_3 = "74 00 03"
"""0111 01 00, 00000000: direct byte verify of CV 1 (S-9.2.3 §E)."""
WRITE_CV_3 = "7C 02 07"
"""0111 11 00, CV 3: direct byte write of 7."""


class Line:
    """Sends packets written as hex without their error byte."""

    def __init__(self, listener: Decoder | Track) -> None:
        self.listener, self.now = listener, 0

    def send(self, *bodies: str, times: int = 1) -> list[Acknowledgement]:
        """Send the packets in order, the whole list so many times."""
        found = []
        for body in bodies * times:
            start = self.now + GAP_NS
            self.now = start + PACKET_NS
            found += self.listener.take(with_error_byte(bytes.fromhex(body)), start, self.now)
        return found

    def wait(self, ns: int) -> None:
        """Send nothing for a while."""
        self.now += ns


def at_work(decoder: Decoder | None = None, **options: object) -> tuple[Decoder, Line]:
    """A decoder and the line to it."""
    decoder = decoder or Decoder(Options(**options))  # type: ignore[arg-type] # each is of its type
    return decoder, Line(decoder)


def on_programming_track(**options: object) -> tuple[Decoder, Line]:
    """A decoder that has just heard the resets after which service mode packets come."""
    decoder, line = at_work(**options)
    line.send(RESET, times=3)
    return decoder, line
