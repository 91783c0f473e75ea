"""Units as drawn, the decoders that they stand for, and a track on which both are played."""

from __future__ import annotations

from collections.abc import Iterable

from hypothesis import strategies as st

from dccwire import LongAddress, Packet, ShortAddress
from dccwire.consists import Consist, Unit
from dccwire.decoder import Decoder, Options, Track

FUNCTIONS = {
    "headlight": "FL-forward",
    "rear light": "FL-reverse",
    "bell": "F1",
    "horn": "F2",
    "smoke": "F5",
    "coupler": "F12",
}
NUMBERED = [f"F{number}" for number in range(1, 29)]

ADDRESSES = st.builds(ShortAddress, st.integers(1, 127)) | st.builds(
    LongAddress, st.integers(1, 10239)
)


@st.composite
def units(draw: st.DrawFn, address: ShortAddress | LongAddress) -> Unit:
    """A unit of any position, way and steps, with some functions and wishes about them."""
    names = st.sampled_from(["FL", "FL-forward", "FL-reverse", "F0", *NUMBERED])
    functions = draw(st.dictionaries(st.sampled_from([*FUNCTIONS]), names))
    roles = st.sampled_from([*functions]) if functions else st.nothing()
    return Unit(
        address,
        draw(st.sampled_from(["lead", "middle", "trailing"])),
        functions,
        draw(st.booleans()),
        draw(st.sampled_from([14, 28, 128])),
        draw(st.dictionaries(roles, st.booleans())),
    )


@st.composite
def any_consists(draw: st.DrawFn) -> Consist:
    """Three units with addresses of their own, one of which may be the consist's."""
    own = draw(st.lists(ADDRESSES, min_size=3, max_size=3, unique=True))
    short = [one.number for one in own if isinstance(one, ShortAddress)]
    numbers = st.integers(1, 127) | st.sampled_from(short or [10])
    return Consist(draw(numbers), tuple(draw(units(one)) for one in own))


def decoder_of(unit: Unit) -> Decoder:
    """A decoder with the unit's own address and steps, in no consist."""
    number = unit.address.number
    steps = 0 if unit.steps == 14 else 0b10
    if isinstance(unit.address, ShortAddress):
        return Decoder(Options(factory={1: number, 29: steps}))
    high, low = divmod(number, 256)
    return Decoder(Options(factory={17: 192 + high, 18: low, 29: 0b10_0000 | steps}))


class Layout:
    """The decoders of a consist on one track, and a clock."""

    def __init__(self, consist: Consist) -> None:
        self.decoders = [decoder_of(unit) for unit in consist.units]
        self._track, self.now = Track(tuple(self.decoders)), 0

    def send(self, packets: Iterable[Packet | str]) -> None:
        """Send packets, or what their texts say, one after the other."""
        for one in packets:
            packet = Packet.from_text(one) if isinstance(one, str) else one
            self.now += 8_000_000
            assert self._track.take(bytes(packet), self.now - 7_000_000, self.now) == []
