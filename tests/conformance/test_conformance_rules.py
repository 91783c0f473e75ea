"""The table of rules, and choosing among them."""

from __future__ import annotations

import pytest

from dccwire.conformance import RULES, Force, choose_rules
from dccwire.errors import FieldError


def test_every_rule_cites_and_is_filed_under_its_number() -> None:
    """A clause with its document, a limit, and force: all of these are 'shall'."""
    for number, rule in RULES.items():
        assert rule.number == number
        assert rule.clause.startswith("S-9.")
        assert rule.limit
        assert rule.force is Force.SHALL


@pytest.mark.parametrize(
    ("text", "numbers"),
    [
        ("1", (1,)),
        ("27,1", (1, 27)),
        ("1-5,14", (1, 2, 3, 4, 5, 14)),
        (" 2 , 3-3 ", (2, 3)),
        ("5-14", (5, 14)),
        ("4-15,5,14-16", (4, 5, 14, 15, 16)),
        ("1-99999999999999999999", tuple(RULES)),
    ],
)
def test_choosing_rules(text: str, numbers: tuple[int, ...]) -> None:
    """Numbers and ranges, in any order, each once; a range leaves out what is no rule."""
    assert choose_rules(text) == numbers


@pytest.mark.parametrize(
    "text", ["", "x", "1,", ",1", "1-", "-5", "1-x", "1.5", "1 2", "²", "1-2-3", "--"]
)
def test_what_is_no_list_of_rules(text: str) -> None:
    """The error holds the whole text."""
    with pytest.raises(FieldError) as caught:
        choose_rules(text)
    error = caught.value
    assert (error.field, error.value) == ("rules", text)
    assert error.bound == "numbers and ranges such as 1-5,14"


@pytest.mark.parametrize(("text", "part"), [("6", "6"), ("1, 6-13 ", "6-13"), ("5-3", "5-3")])
def test_numbers_that_are_no_rules(text: str, part: str) -> None:
    """The error holds the part that names none, and all that there are."""
    with pytest.raises(FieldError) as caught:
        choose_rules(text)
    assert (caught.value.field, caught.value.value) == ("rules", part)
    assert caught.value.bound == "some of 1, 2, 3, 4, 5, 14, 15, 16, 17, 18, 19, 27"
