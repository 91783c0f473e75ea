"""On the main, writes go to the decoder's own address, or nowhere."""

import pytest

from dccwire import IDLE, AccessoryAddress, Idle, LongAddress, Packet, ShortAddress
from dccwire.cv import CvSet
from dccwire.decoder import Decoder, Options
from dccwire.errors import FieldError
from refusals import refused
from written_sets import operations_packets

NEW = CvSet({3: 2})


@pytest.mark.parametrize(
    ("old", "address", "told"),
    [
        ({1: 3, 29: 6}, ShortAddress(99), "short 3 by CV 1 = 3 and CV 29 = 6"),
        ({1: 3, 29: 6}, LongAddress(3000), "short 3 by CV 1 = 3 and CV 29 = 6"),
        ({1: 3}, ShortAddress(99), "short 3 by CV 1 = 3"),
        ({29: 6}, LongAddress(3000), "a short address by CV 29 = 6"),
        ({29: 38}, ShortAddress(3), "a long address by CV 29 = 38"),
        ({1: 3, 29: 38}, ShortAddress(3), "a long address by CV 29 = 38"),
        ({17: 203, 29: 38}, LongAddress(10), "a long address by CV 17 = 203 and CV 29 = 38"),
        ({17: 203, 18: 184}, LongAddress(3001), "long 3000 by CV 17 = 203 and CV 18 = 184"),
        ({1: 0, 29: 6}, ShortAddress(3), "a short address by CV 1 = 0 and CV 29 = 6"),
        (
            {1: 5, 19: 5, 29: 38, 17: 196, 18: 181},
            ShortAddress(5),
            "long 1205 by CV 17 = 196 and CV 18 = 181 and CV 29 = 38",
        ),
        (
            {1: 3, 19: 201},
            ShortAddress(73),
            "short 3 by CV 1 = 3",
        ),
    ],
)
def test_an_address_that_contradicts_the_old_set_is_refused(old, address, told: str) -> None:
    """CV 29 bit 5 decides which CVs count; the error names both addresses."""
    with refused(
        FieldError, field="address", bound=told, value=f"{address.kind} {address.number}"
    ) as caught:
        operations_packets(CvSet(old), NEW, address)
    assert ("not the consist's of CV 19" in caught.value.hint) is (19 in old)


@pytest.mark.parametrize("old", [{19: 5}, {1: 5, 19: 5}, {19: 133, 29: 6}])
def test_the_consists_address_is_refused_unless_it_is_known_to_be_its_own(old) -> None:
    """It takes CV 1 and CV 29 to know (S-9.2.1 §C)."""
    hint = f"; .*not the consist's of CV 19 = {old[19]}"
    with refused(FieldError, match=hint, value="short 5"):
        operations_packets(CvSet(old), NEW, ShortAddress(5))


@pytest.mark.parametrize(
    ("old", "address"),
    [
        ({}, ShortAddress(99)),
        ({}, LongAddress(3000)),
        ({1: 3}, LongAddress(3000)),
        ({17: 203, 18: 184}, ShortAddress(3)),
        ({29: 6}, ShortAddress(99)),
        ({17: 203, 29: 38}, LongAddress(3000)),
        ({1: 5, 19: 5, 29: 6}, ShortAddress(5)),
        ({1: 3, 19: 72}, ShortAddress(3)),
        ({1: 3, 19: 128}, ShortAddress(3)),
        ({19: 73}, LongAddress(73)),
    ],
)
def test_an_address_that_nothing_contradicts_stands(old, address) -> None:
    """Told by the set, in part, or by the caller alone."""
    written, idle, again = operations_packets(CvSet(old), NEW, address)
    assert (written.address, again, idle) == (address, written, Packet(IDLE, Idle()))


def test_only_multi_function_decoders_have_such_writes() -> None:
    """An accessory's address is refused by kind."""
    with refused(FieldError, match="a short or a long address", value="accessory 3"):
        operations_packets(CvSet(), NEW, AccessoryAddress(3))


def test_an_address_that_no_set_tells_is_refused_if_it_is_needed() -> None:
    """After bit 5 of CV 29 changes, or CV 1 becomes 0, and writes are left."""
    assert len(operations_packets(CvSet({29: 6}), CvSet({29: 38}), ShortAddress(3))) == 3
    for old, new, address, field, value in [
        ({29: 6}, {29: 38, 15: 1}, ShortAddress(3), "CV 17", None),
        ({29: 38}, {29: 6, 15: 1}, LongAddress(1205), "CV 1", None),
        ({1: 3, 19: 5, 29: 6}, {1: 0}, ShortAddress(3), "CV 1", 0),
    ]:
        with refused(FieldError, field=field, value=value):
            operations_packets(CvSet(old), CvSet(new), address)


@pytest.mark.parametrize("address", [ShortAddress(3), ShortAddress(112), LongAddress(10239)])
def test_packets_to_one_address_are_5_ms_apart(address) -> None:
    """End bit to start bit, S-9.2 §C and footnote 11; and the decoder stores both CVs all the same.

    The preamble of 14 ones is 14 x 116 us; each packet begins where the one before ends.
    """
    cvs = {3: 0, 4: 0, 29: 0, 1: 3}
    if isinstance(address, LongAddress):
        cvs |= {17: 231, 18: 255, 29: 0b100000}
    else:
        cvs[1] = address.number
    decoder = Decoder(Options(factory=cvs))
    now, ends = 0, []
    for packet in operations_packets(CvSet(cvs), CvSet({3: 2, 4: 9}), address):
        start, now = now + 14 * 116_000, now + packet.duration_ns(preamble=14)
        if packet.address == address:
            assert not ends or start - ends[-1] >= 5_000_000
            ends.append(now)
        decoder.take(packet, start, now)
    assert len(ends) == 4
    assert (decoder.cv(3), decoder.cv(4)) == (2, 9)
