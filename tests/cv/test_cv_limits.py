"""Numbers inside the functions on CVs, each at its bounds and one outside, typed in by hand."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from dccwire import LongAddress, ShortAddress, cv, inspect
from dccwire.address import Mode
from dccwire.cv.addresses import LongConsistAddress
from dccwire.cv.catalogue import entry
from dccwire.cv.changes import answers_after, writes
from dccwire.cv.configuration import FuelLevel
from dccwire.cv.cv_set import CvSet, key_from_text
from dccwire.cv.functions import OutputLocations
from dccwire.cv.motor import AccelerationAdjustment, seconds_per_step, seconds_to_full_speed
from dccwire.cv.paging import IndexPage
from dccwire.cv.speed_curves import SpeedTable, SpeedTableChoice, trimmed
from dccwire.cv.values import DecoderKind
from dccwire.errors import FieldError
from refusals import refused

BYTE = "0 to 255"


@pytest.mark.parametrize(
    ("call", "field", "bound", "inside", "outside"),
    [
        (lambda n: seconds_per_step(n, 28), "rate", BYTE, (0, 255), (-1, 256)),
        (lambda n: seconds_to_full_speed(n, 28), "rate", BYTE, (0, 255), (-1, 256)),
        (AccelerationAdjustment.by, "amount", "-127 to 127", (-127, 127), (-128, 128)),
        (IndexPage.of, "index page", "0 to 61439", (0, 61_439), (-1, 61_440)),
        (SpeedTableChoice.mid_at, "step", "1 to 26", (1, 26), (0, 27)),
        (
            lambda n: LongConsistAddress.at(n, reversed=False),
            *("address", "0 to 10239", (0, 10_239), (-1, 10_240)),
        ),
        (lambda n: SpeedTable.linear(start=n, high=255), "start", BYTE, (0, 255), (-1, 256)),
        (lambda n: SpeedTable.linear(start=0, high=n), "high", BYTE, (0, 255), (-1, 256)),
        (
            lambda n: SpeedTable.linear(start=0, middle=n, high=255),
            *("middle", BYTE, (0, 255), (-1, 256)),
        ),
        (
            lambda n: SpeedTable.linear(start=0, middle=100, high=255, middle_point=n),
            *("middle_point", "2 to 27", (2, 27), (1, 28)),
        ),
        (
            lambda n: SpeedTable.curve(start=n, middle=254, high=255),
            *("start", BYTE, (0, 253), (-1, 256)),
        ),
        (lambda n: SpeedTable.curve(start=0, middle=1, high=n), "high", BYTE, (2, 255), (-1, 256)),
        (
            lambda n: SpeedTable.curve(start=0, middle=n, high=255),
            *("middle", BYTE, (1, 254), (-1, 256)),
        ),
        (
            lambda n: SpeedTable.curve(start=0, middle=9, high=255, middle_point=n),
            *("middle_point", "2 to 27", (2, 27), (1, 28)),
        ),
    ],
)
def test_bounds_of_arguments(
    call: Callable[[int], object],
    field: str,
    bound: str,
    inside: tuple[int, ...],
    outside: tuple[int, ...],
) -> None:
    """Both ends are taken, and one beyond is refused with the bounds."""
    for number in inside:
        call(number)
    for number in outside:
        with refused(FieldError, field=field, bound=bound, value=number):
            call(number)


@pytest.mark.parametrize(("middle", "taken"), [(10, False), (11, True), (19, True), (20, False)])
def test_the_middle_of_a_curve_lies_between(middle: int, taken: bool) -> None:
    """Between start and high, and is neither."""
    if taken:
        assert SpeedTable.curve(start=10, middle=middle, high=20).points[13] == middle
    else:
        with refused(FieldError, field="middle", bound="more than 10 and less than 20"):
            SpeedTable.curve(start=10, middle=middle, high=20)


def test_a_trim_of_nothing() -> None:
    """Its factor may be 0."""
    table = SpeedTable.linear(start=10, high=200)
    assert set(trimmed(table, 0).points) == {0}
    for factor in (-0.1, float("inf")):
        with refused(FieldError, field="factor", bound="0 or more, and finite"):
            trimmed(table, factor)


def test_what_arguments_make() -> None:
    """S-9.2.2: CV 25 (V4), CV 31 and 32; CV 19 and 20 from memory; CV 894."""
    assert SpeedTableChoice.mid_at(1).to_cvs() == {25: 129}
    assert SpeedTableChoice.mid_at(26).to_cvs() == {25: 154}
    assert IndexPage.of(256).to_cvs() == {31: 17, 32: 0}
    assert IndexPage.of(511).to_cvs() == {31: 17, 32: 255}
    assert LongConsistAddress.at(10_239, reversed=True).to_cvs() == {19: 128 + 39, 20: 102}
    assert LongConsistAddress.at(99, reversed=False).to_cvs() == {19: 99, 20: 0}
    assert LongConsistAddress.at(100, reversed=False).to_cvs() == {19: 0, 20: 1}
    assert [FuelLevel(level).fraction for level in (0, 127, 254, 255)] == [0, 0.5, 1, None]


@pytest.mark.parametrize(
    ("function", "low", "cv_number"),
    [("FL-forward", 1, 33), ("F3", 1, 37), ("F4", 4, 38), ("F8", 4, 42), ("F12", 7, 46)],
)
def test_outputs_that_a_cv_does_not_reach(function: str, low: int, cv_number: int) -> None:
    """Eight each, from the lowest of Table 2 on (S-9.2.2, CV 33 to 46)."""
    place = OutputLocations()
    for output in (low, low + 7):
        assert place.moved(function, {output}).outputs(function) == (output,)
    for output in (low - 1, low + 8):
        hint = f"CV {cv_number} reaches no other"
        bound = f"{low} to {low + 7}"
        with refused(FieldError, field=f"output of {function}", bound=bound, hint=hint):
            place.moved(function, {output})


def test_which_cvs_of_accessories_are_read_only() -> None:
    """S-9.2.2, Table 3: CV 8 [520] alone; CV 7 and 8 of a multi-function decoder."""
    for decoder, expected in (
        (DecoderKind.ACCESSORY, {8, 520}),
        (DecoderKind.MULTI_FUNCTION, {7, 8}),
    ):
        assert {n for n in range(1, 1025) if entry(n, decoder).read_only} == expected


def test_bit_5_of_cv_29_is_the_one_that_changes_the_address() -> None:
    """S-9.2.2, CV 29: whatever the neighbours hold, and whichever else is written."""
    told = {one.cv: one.why for one in writes(CvSet({29: 6}), CvSet({29: 38}))}
    assert told == {29: "bit 5: the decoder answers to its other address then"}
    assert {one.why for one in writes(CvSet({29: 6}), CvSet({29: 7}))} == {""}
    assert {one.why for one in writes(CvSet({28: 6, 30: 1}), CvSet({28: 38, 30: 33}))} == {""}
    held = {1: 3, 17: 196, 18: 181, 28: 32, 29: 38, 30: 32}
    assert answers_after(1, held, LongAddress(1205)) == ShortAddress(3)
    assert held == {1: 3, 17: 196, 18: 181, 28: 32, 29: 6, 30: 32}
    assert answers_after(29, {**held, 29: 38}, ShortAddress(3)) == LongAddress(1205)
    assert answers_after(29, {1: 3, 18: 181, 29: 38}, ShortAddress(3)) is None
    assert answers_after(29, {1: 3, 17: 196, 29: 38}, ShortAddress(3)) is None


@pytest.mark.parametrize(("digits", "taken"), [("0" * 8 + "1", True), ("0" * 9 + "1", False)])
def test_a_number_has_nine_digits_at_most(digits: str, taken: bool) -> None:
    """More are refused before they are read."""
    if taken:
        assert key_from_text(digits) == 1
    else:
        with refused(FieldError, value=digits):
            key_from_text(digits)


@pytest.mark.parametrize("count", [4, 5])
def test_four_cvs_are_named_one_by_one(count: int) -> None:
    """More of them by the first and the last."""
    curve = {n: min(9 * (n - 66), 255) for n in range(67, 67 + count)}
    (one,) = cv.explain_cvs(curve, DecoderKind.MULTI_FUNCTION)
    listed = ", ".join(f"CV {n} = {value}" for n, value in curve.items())
    head = listed if count == 4 else "CV 67 to 71, 5 values"
    assert one.text(200).startswith(f"{head}: ")


def test_texts_have_40_columns_at_least() -> None:
    """Narrower ones are as wide."""
    (one,) = cv.explain_cvs({29: 38}, DecoderKind.MULTI_FUNCTION)
    assert one.text(1) == one.text(39) == one.text(40) != one.text(41)


@pytest.mark.parametrize("address_bits", [0b00, 0b01, 0b10, 0b11])
def test_direct_mode_with_cc_00_is_told_whatever_the_cv(address_bits: int) -> None:
    """P4: the two bits after 0111 are CC, those behind them are of the CV's number."""
    data = bytes((0b01110000 | address_bits, 0, 0))
    found = inspect(data + bytes((data[0],)), mode=Mode.SERVICE).findings
    assert any(one.message == "direct mode with CC = 00 is not described (P4)" for one in found)
