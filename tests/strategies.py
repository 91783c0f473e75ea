"""Hypothesis strategies made from the layouts: legal values of formats, packets of them."""

from __future__ import annotations

from functools import reduce
from operator import xor

from bitstring import Bits
from hypothesis import strategies as st

from dccwire.address import ADDRESS_KINDS, Mode, ShortAddress
from dccwire.errors import LengthError
from dccwire.formats import FORMATS, Format, Instruction
from dccwire.framing import to_bits
from dccwire.packet import Packet

GENERAL = [form for form in FORMATS if not form.reading]


def values(form: Format) -> st.SearchStrategy[Instruction]:
    """Legal values of a format: each field over its table, or over what its bits can hold."""
    fields = {}
    for name, kind in form.cls.kinds.items():
        bits = form.layout.fields[name]
        fields[name] = (
            st.integers(bits.lowest, bits.highest)
            if kind.table is None
            else st.sampled_from(list(kind.table.values()))
        )
    return st.builds(form.cls, **fields)


def addresses(form: Format) -> st.SearchStrategy:
    """Addresses to which a format can be sent."""
    kinds = (
        [form.address]
        if form.address
        else [kind for kind in ADDRESS_KINDS.values() if kind.partitions & form.partitions]
    )
    return st.one_of(
        *(st.builds(kind, st.integers(kind.bound[0], kind.bound[-1])) for kind in kinds)
    )


@st.composite
def packets(draw: st.DrawFn, forms: list[Format] = GENERAL) -> Packet:
    """A packet of one instruction of the given formats, of those that fit into six bytes."""
    form = draw(st.sampled_from(forms))
    one, address = draw(values(form)), draw(addresses(form))
    mode = form.mode or Mode.OPERATIONS
    if form.cls.__name__ == "AddressQuery":
        address = ShortAddress(draw(st.integers(1, 111)))
    try:
        return Packet(address, one, mode=mode)
    except LengthError:
        return Packet(ShortAddress(draw(st.integers(1, 127))), one)


def with_error_byte(body: bytes) -> bytes:
    """Bytes with the right error byte behind them."""
    return body + bytes((reduce(xor, body),))


bodies = st.binary(min_size=2, max_size=5)
"""Packets but for their error byte."""

byte_strings = st.one_of(st.binary(max_size=9), bodies.map(with_error_byte))
"""Any bytes, of which half are packets."""


@st.composite
def bit_strings(draw: st.DrawFn) -> Bits:
    """Any bits, of which half are a packet's, perhaps with one wrong."""
    if draw(st.booleans()):
        return Bits.from_bools(draw(st.lists(st.booleans(), max_size=200)))
    bits = to_bits(with_error_byte(draw(bodies)), draw(st.integers(0, 30)))
    wrong = draw(st.integers(0, len(bits)))
    return Bits.from_bools(bool(bit) ^ (at == wrong) for at, bit in enumerate(bits))
