"""The notation of layouts, and what is made from it."""

import re

import construct
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dccwire.errors import FieldError, LayoutError
from dccwire.formats import FORMATS, RESERVED, Format
from dccwire.layout import Layout
from refusals import refused

EVERY_FORMAT = pytest.mark.parametrize("form", FORMATS, ids=lambda form: form.cls.__name__)


@EVERY_FORMAT
def test_each_bit_is_covered_exactly_once(form: Format) -> None:
    """Fixed bits, and each weight of each field, stand in exactly one place."""
    layout = form.layout
    assert [bit.position for bit in layout.bits] == list(range(8 * layout.size))
    for name, field in layout.fields.items():
        weights = sorted(bit.weight for bit in layout.bits if bit.field == name)
        assert weights == list(range(field.width))
    fixed = sum(1 << (8 * layout.size - 1 - bit.position) for bit in layout.bits if bit.fixed == 1)
    assert fixed == layout.fixed
    assert sum(bit.fixed is not None for bit in layout.bits) == layout.fixed_mask.bit_count()


@EVERY_FORMAT
@given(data=st.data())
def test_layout_and_construct_object_agree(form: Format, data: st.DataObject) -> None:
    """Any numbers: the same bytes from both, and the same numbers back."""
    layout, twin = form.layout, form.construct()
    numbers = {
        name: data.draw(st.integers(field.lowest, field.highest), name)
        for name, field in layout.fields.items()
    }
    encoded = layout.encode(numbers)
    assert twin.build(numbers) == encoded
    assert layout.decode(encoded) == numbers
    parsed = twin.parse(encoded)
    assert {name: parsed[name] for name in numbers} == numbers


@EVERY_FORMAT
@given(data=st.data())
def test_layout_and_construct_object_refuse_the_same_bytes(
    form: Format, data: st.DataObject
) -> None:
    """Bytes with other fixed bits match neither."""
    layout, twin = form.layout, form.construct()
    given_bytes = data.draw(st.binary(min_size=layout.size, max_size=layout.size))
    if layout.matches(given_bytes):
        twin.parse(given_bytes)
        return
    with pytest.raises(construct.ConstError):
        twin.parse(given_bytes)
    with refused(LayoutError, line=layout.line, match="do not match"):
        layout.decode(given_bytes)


def test_bits_are_numbered_both_ways() -> None:
    """First sent is position 0 and bit 7 of byte 0."""
    bits = Layout("10aaaaaa 1bbb0001", {"address": "~b a"}).bits
    assert [(bit.byte, bit.number) for bit in bits[7:9]] == [(0, 0), (1, 7)]
    assert (bits[9].letter, bits[9].weight, bits[9].inverted) == ("b", 8, True)
    assert (bits[2].letter, bits[2].weight, bits[2].inverted) == ("a", 5, False)
    assert (bits[0].fixed, bits[0].field) == (1, "")


@pytest.mark.parametrize(
    ("line", "fields", "problem"),
    [
        ("1110CC", {"c": "C"}, "groups of eight"),
        ("1110CCVV  VVVVVVVV", {"c": "C", "v": "V"}, "groups of eight"),
        ("1110CC-V", {"c": "C"}, "groups of eight"),
        ("", {}, "groups of eight"),
        ("1110CCVV", {"c": "C"}, "letters ['C', 'V'], but fields use ['C']"),
        ("1110CCCC", {"c": "C", "v": "C"}, "letters ['C'], but fields use ['C', 'C']"),
        ("1110CCCC", {"c": "C", "v": "V"}, "letters ['C'], but fields use ['C', 'V']"),
        ("1110CCCC", {"c": "C - 1"}, "formula 'C - 1' of field 'c'"),
        ("1110CCCC", {"c": ""}, "formula '' of field 'c'"),
    ],
)
def test_a_line_that_cannot_be_read_is_refused(line, fields, problem) -> None:
    """The error holds the line and the problem."""
    with refused(LayoutError, match=re.escape(problem), line=line):
        Layout(line, fields)


def test_numbers_that_do_not_fit_are_refused() -> None:
    """The error names the field, its bounds with the offset, and the number."""
    layout = Layout("111010VV VVVVVVVV", {"cv": "V + 1"})
    for number in (0, 1025):
        with refused(FieldError, field="cv", bound="1 to 1024", value=number):
            layout.encode({"cv": number})
    with pytest.raises(KeyError):
        layout.encode({})


def test_wrong_size_does_not_match() -> None:
    """Neither shorter nor longer bytes decode."""
    layout = Layout("100DDDDD", {"d": "D"})
    with refused(LayoutError, match="bytes 80 80 do not match"):
        layout.decode(b"\x80\x80")
    with refused(LayoutError, match="bytes  do not match"):
        layout.decode(b"")


def test_reprs_are_short() -> None:
    """Layouts and formats say what they are."""
    assert repr(Layout("100DDDDD", {"d": "D"})) == "Layout('100DDDDD')"
    (form,) = (form for form in FORMATS if form.cls.__name__ == "HardReset")
    assert repr(form) == "<Format HardReset '00000001', S-9.2.1 §C, Hard Reset>"


def test_reserved_patterns_are_layouts_with_a_clause() -> None:
    """Each cites where it is reserved."""
    assert RESERVED
    assert all(clause.startswith("S-9.2.1") for _, clause, _ in RESERVED)
