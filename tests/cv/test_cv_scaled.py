"""Numbers that stand for a quantity: what is shown of them, and what is read."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dccwire.cv.kinds import Scaled
from dccwire.errors import FieldError, ShapeError
from refusals import refused


@pytest.mark.parametrize(
    ("words", "shown"),
    [
        ("value", ["0ms", "1ms", "255ms"]),
        ("value x 20", ["0ms", "20ms", "5100ms"]),
        ("value x 0.5 + 2", ["2ms", "2.5ms", "129.5ms"]),
        ("value / 4", ["0ms", "0.25ms", "63.75ms"]),
        ("value x 100 / 255", ["0ms", "0.3922ms", "100ms"]),
        ("value x 2 - 10.5", ["-10.5ms", "-8.5ms", "499.5ms"]),
        ("value + 1", ["1ms", "2ms", "256ms"]),
        ("value x 1000000", ["0ms", "1000000ms", "255000000ms"]),
    ],
)
def test_a_formula_makes_a_quantity(words: str, shown: list[str]) -> None:
    """Of 0, 1 and 255, worked out by hand; text and JSON keep the number; both are read."""
    kind = Scaled.of("A", "ms", words)
    for number, quantity in zip((0, 1, 255), shown, strict=True):
        assert kind.meaning(number) == quantity
        assert kind.from_text("a", quantity) == kind.from_text("a", f"{number}") == number
        assert (kind.text(number), kind.plain(number)) == (f"{number}", number)
    assert kind.allowed(0, 255) == f"0 to 255, or {shown[0]} to {shown[2]}"


@given(st.integers(1, 10**6), st.integers(1, 10**4), st.integers(-999, 999), st.integers(0, 65535))
def test_what_is_shown_is_read_again(times: int, by: int, plus: int, number: int) -> None:
    """As a number of the same quantity, for steps of a ten-thousandth or more."""
    sign = "-" if plus < 0 else "+"
    kind = Scaled.of("A", "%", f"value x {times} / {by} {sign} {abs(plus)}")
    assert (kind.factor, kind.offset) == (Fraction(times, by), plus)
    read = kind.from_text("a", kind.meaning(number))
    assert kind.meaning(read) == kind.meaning(number)
    if times > by:
        assert read == number


@pytest.mark.parametrize("word", ["ms", "x85ms", "85 ms", "", "1e3ms", "٣ms", "-5", "٣"])
def test_what_is_neither_number_nor_quantity(word: str) -> None:
    """85 would be one, 85ms the other."""
    kind = Scaled.of("A", "ms", "value x 20 + 5")
    assert (kind.from_text("a", "85"), kind.from_text("a", "85ms")) == (85, 4)
    with refused(ShapeError, path="a", expected="an integer, or a quantity in ms", actual=word):
        kind.from_text("a", word)


def test_a_quantity_between_two_numbers_names_both() -> None:
    """And one beyond the bits gives a number that the format refuses."""
    kind = Scaled.of("A", "ms", "value x 20 + 5")
    with refused(
        ShapeError, expected="what a number stands for (85ms for 4, 105ms for 5)", actual="90ms"
    ):
        kind.from_text("a", "90ms")
    with refused(ShapeError, expected="what a number stands for (-15ms for -1, 5ms for 0)"):
        kind.from_text("a", "-7.5ms")
    assert kind.from_text("a", "10005ms") == 500
    narrow = Scaled.of("A", "ms", "value x 2", range(3, 6))
    assert narrow.allowed(0, 15) == "3 to 5, or 6ms to 10ms"
    with refused(FieldError, field="a", bound="3 to 5", value=6):
        narrow.check("a", narrow.from_text("a", "12ms"), 0, 15)


@pytest.mark.parametrize(
    "words",
    [
        *("", "x", "20", "value x", "value x 0", "value / 0", "value x 2 x 3", "value+1"),
        *("value / 2 x 3", "value x -2", "value x 1e3", "value x 1234567890", "value x ٣"),
        *("value ", "value x .5", "value - ", "value x 0.0"),
    ],
)
def test_what_is_no_formula_is_refused(words: str) -> None:
    """With an example."""
    bound = "words such as 'value x 20 / 3 + 5'"
    with refused(FieldError, field="formula", bound=bound, value=words):
        Scaled.of("A", "ms", words)
