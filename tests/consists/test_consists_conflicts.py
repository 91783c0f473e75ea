"""What does not go together: for each reason a consist that has it, and one that has not."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from consist_helpers import FUNCTIONS, any_consists
from hypothesis import given

from dccwire import AccessoryAddress, LongAddress, ShortAddress
from dccwire.consists import Conflict, ConflictReason, Consist, Unit, conflicts
from dccwire.consists.reading import KEYS, UNIT_KEYS
from dccwire.cv import UnitPosition
from dccwire.errors import FieldError
from refusals import refused


def unit(number: int, position: str, functions: object = FUNCTIONS, **more: object) -> Unit:
    """A unit at a short address."""
    return Unit(ShortAddress(number), position, functions, **more)


LEAD, MIDDLE = unit(21, "lead"), unit(22, "middle")
TRAILING = unit(23, "trailing", reversed=True)


def consist(*units: Unit, address: int = 10, others: object = ()) -> Consist:
    """The units given, and of lead, middle and trailing those whose addresses they leave free."""
    given = {one.address for one in units}
    rest = [one for one in (LEAD, MIDDLE, TRAILING) if one.address not in given]
    return Consist(address, (*units, *rest), frozenset(others))


def reasons(found: Consist) -> list[str]:
    """The codes, in order."""
    return [one.reason.value for one in conflicts(found)]


CASES = {
    "no-consist": (consist(address=0), consist(address=1)),
    "long-consist": (consist(address=128), consist(address=127)),
    "address-in-use": (consist(address=22), consist(Unit(LongAddress(10), "middle", FUNCTIONS))),
    "unit-twice": (consist(others=[ShortAddress(22)]), consist(others=[LongAddress(22)])),
    "no-lead": (consist(unit(21, "middle")), consist()),
    "two-leads": (
        consist(unit(22, "lead", {"smoke": "F5"})),
        consist(unit(22, "middle", {"smoke": "F5"})),
    ),
    "two-trailing": (
        consist(unit(22, "trailing", {}, reversed=True)),
        consist(unit(22, "middle", {}, reversed=True)),
    ),
    "sounded-twice": (
        consist(unit(22, "middle", obeys={"bell": True})),
        consist(unit(22, "middle", {"bell": "F13"}, obeys={"bell": False})),
    ),
    "middle-lit": (
        consist(unit(22, "middle", obeys={"headlight": True})),
        consist(unit(21, "lead", obeys={"headlight": True})),
    ),
    "trailing-lit": (
        consist(
            unit(21, "lead", {}), unit(23, "trailing", obeys={"headlight": True}, reversed=True)
        ),
        consist(unit(21, "lead", {}), unit(23, "trailing", reversed=True)),
    ),
    "lit-twice": (
        consist(unit(21, "lead", obeys={"rear light": True})),
        consist(
            unit(21, "lead", obeys={"rear light": True}), unit(23, "trailing", {}, reversed=True)
        ),
    ),
    "steps-differ": (
        consist(unit(22, "middle", steps=14)),
        consist(unit(22, "middle", steps=128)),
    ),
    "above-f12": (
        consist(unit(22, "middle", {"smoke": "F13"})),
        consist(unit(22, "middle", {"bell": "F13", "coupler": "F12"})),
    ),
    "mixed-function": (
        consist(unit(22, "middle", {"smoke": "F1"})),
        consist(unit(22, "middle", {"horn": "F1"})),
    ),
    "left-on": (
        consist(unit(22, "middle", on=["F3"])),
        consist(unit(22, "middle", on=["F5"])),
    ),
    "trailing-forward": (consist(unit(23, "trailing")), consist()),
    "nearly-known": (
        consist(unit(22, "middle", {"hron": "F7"})),
        consist(unit(22, "middle", {"deck light": "F7"})),
    ),
}


def test_every_reason_has_its_cases() -> None:
    """None is left out, and a code tells its clause and whether it blames."""
    assert [*CASES] == [one.value for one in ConflictReason]
    told = ["long-consist", "above-f12", "mixed-function", "left-on", "trailing-forward"]
    assert [one.value for one in ConflictReason if not one.blames] == [*told, "nearly-known"]
    assert ConflictReason.LONG_CONSIST.clause == "from memory: RCN-225"
    assert ConflictReason.SOUNDED_TWICE.clause == "common practice, no source"


@pytest.mark.parametrize("reason", CASES)
def test_a_reason_is_found_where_it_is_and_alone(reason: str) -> None:
    """And not where the one thing that makes it is otherwise."""
    has, has_not = CASES[reason]
    assert reasons(has) == [reason]
    assert reasons(has_not) == []


def test_an_address_that_another_decoder_has() -> None:
    """Of the list given; an accessory decoder's is no such address."""
    assert reasons(consist(others=[ShortAddress(10)])) == ["address-in-use"]
    assert reasons(consist(others=[AccessoryAddress(10), LongAddress(10)])) == []
    (found,) = conflicts(consist(others=[ShortAddress(10)]))
    assert (found.units, found.reason.blames) == ((), True)


def test_a_unit_that_is_listed_twice() -> None:
    """Whatever else its two entries say; it is told once."""
    twice = Consist(10, (LEAD, unit(21, "trailing", {}, reversed=True)))
    (found,) = conflicts(twice)
    assert found.units == (ShortAddress(21),)
    assert found.message == (
        "the address short 21 is that of 2 units: what is written there reaches all of them"
    )


@pytest.mark.parametrize("role", ["bell", "horn"])
def test_sounds_are_counted_by_what_is_heard(role: str) -> None:
    """Also by way of another role's function, and if it is on by now; both lead and both found."""
    same = {role: "F7", "smoke": "F7"}
    on = unit(22, "middle", {role: "F7"}, on=["F7"])
    assert reasons(consist(unit(22, "middle", same))) == ["sounded-twice"]
    assert reasons(consist(on)) == ["sounded-twice", "left-on"]
    (found,) = conflicts(consist(unit(22, "middle", same)))
    assert found.units == (ShortAddress(22), ShortAddress(21))
    assert found.message == f"short 22 and short 21 sound the {role}"


def test_a_light_of_a_middle_unit_that_is_on_now() -> None:
    """At its own address it would have to be switched off; above F12 too."""
    for function in ("FL", "FL-reverse", "F6", "F20"):
        lit = unit(22, "middle", {"headlight": function}, on=[function], reversed=True)
        found = conflicts(consist(lit))
        assert reasons(consist(lit)) == ["middle-lit", "left-on"]
        assert found[0].units == (ShortAddress(22),)
        dark = unit(22, "middle", {"headlight": function}, on=["F1"], reversed=True)
        assert reasons(consist(dark)) == ["left-on"]


def test_lights_of_one_kind_that_shine_at_one_time() -> None:
    """Two trailing units, one that shows its rear light and one its headlight, behind a lead."""
    second = unit(22, "trailing")
    third = unit(23, "trailing", reversed=True, obeys={"headlight": True})
    found = [one for one in conflicts(Consist(10, (LEAD, second, third))) if one.reason.blames]
    assert [one.message for one in found] == [
        "short 22 and short 23 are both the trailing unit",
        "short 23, the trailing unit, shows its headlight at the consist's address",
        "short 21 and short 23 show a headlight while the consist runs forward",
        "short 22 and short 23 show a rear light while the consist runs in reverse",
    ]
    lamps = {"headlight": "F3"}
    both = Consist(10, (unit(21, "lead", lamps), unit(22, "lead", lamps), TRAILING))
    assert conflicts(both)[1].message == (
        "short 21 and short 22 show a headlight while the consist runs forward and in reverse"
    )
    turned = unit(22, "lead", {"headlight": "FL-forward"}, reversed=True)
    assert conflicts(Consist(10, (LEAD, turned, TRAILING)))[1].message == (
        "short 21 and short 22 show a headlight while the consist runs forward"
    )
    apart = {"headlight": "FL-reverse", "rear light": "FL-reverse"}
    assert reasons(consist(unit(23, "trailing", apart, reversed=True))) == []


@pytest.mark.parametrize(
    ("word", "meant"),
    [
        ("hron", "horn"),
        ("Bells", "bell"),
        ("head light", "headlight"),
        ("rear_light", "rear light"),
    ],
)
def test_a_word_that_is_nearly_one_of_common_practice_is_told(word: str, meant: str) -> None:
    """As a note, with what may have been meant."""
    (found,) = conflicts(consist(unit(22, "middle", {word: "F7"})))[:1]
    assert found.message == f"{word} (F7) of short 22 counts as any other word"
    assert (found.hint, found.reason.blames) == (f"perhaps {meant}", False)


def test_a_word_may_hold_braces() -> None:
    """It is told as it stands."""
    (found,) = conflicts(consist(unit(22, "middle", {"{0} {x}": "F13"})))
    assert found.message == "short 22 obeys {0} {x} (F13) at its own address alone"


def test_all_at_14_steps_go_together() -> None:
    """Then no one's speed is taken for a light."""
    few = [
        unit(21 + place, position, steps=14, reversed=position == "trailing")
        for place, position in enumerate(["lead", "middle", "trailing"])
    ]
    assert reasons(Consist(10, few)) == []


def test_one_function_with_two_meanings_in_one_unit_is_its_own_affair() -> None:
    """Another unit's number counts, lights in two directions do not."""
    assert reasons(Consist(10, (unit(21, "lead", {"bell": "F1", "lamp": "F1"}),))) == []
    lamps = unit(22, "middle", {"cab light": "FL"})
    assert reasons(consist(lamps)) == []
    (found,) = conflicts(consist(unit(22, "middle", {"smoke": "F12", "pump": "F1"})))[:1]
    assert found.message == "F1 at the consist's address is pump and bell in short 22 and short 21"


def test_what_stays_on_at_the_consist_address_that_is_the_own() -> None:
    """There everything can be switched off (S-9.2.1 §C), and without a consist too."""
    assert reasons(consist(unit(22, "middle", on=["F3"]), address=0)) == ["no-consist"]
    lit = unit(10, "middle", {}, on=["F3"])
    assert reasons(Consist(10, (LEAD, lit, TRAILING))) == ["address-in-use"]


def test_blame_comes_first_and_words_tell_it_all() -> None:
    """In text and JSON: code, sentence, what would help, clause."""
    found = conflicts(consist(unit(23, "trailing"), unit(22, "middle", steps=14)))
    assert [one.reason.blames for one in found] == [True, False]
    assert str(found[0]) == (
        "steps-differ: short 22 at 14 steps takes a bit of the others' speed for FL; set CV 29 "
        "bit 1 alike in all (S-9.2.1 §C, Speed and Direction (X18))"
    )
    assert found[1].to_dict() == {
        "reason": "trailing-forward",
        "blames": False,
        "units": [{"kind": "short", "number": 23}],
        "message": "short 23, the trailing unit, is not reversed, as it often is",
        "hint": "look which way it stands",
        "clause": "common practice, no source",
    }


@given(any_consists())
def test_no_consist_is_too_odd_to_be_judged(drawn: Consist) -> None:
    """Findings or none, in one line each; leads are counted."""
    found = conflicts(drawn)
    assert all(isinstance(one, Conflict) and "\n" not in str(one) for one in found)
    leads = sum(one.position is UnitPosition.LEAD for one in drawn.units)
    assert ("no-lead" in reasons(drawn), "two-leads" in reasons(drawn)) == (leads < 1, leads > 1)


def test_the_docs_list_every_reason() -> None:
    """A row each, as the code has it; the file that the page shows is the one that is shipped."""
    root = Path(__file__).parents[2]
    page = (root / "docs" / "consists.md").read_text("utf-8")
    rows = [line for line in page.splitlines() if line.startswith("| `")]
    assert rows == [
        f"| `{one.value}` | {'yes' if one.blames else 'no'} | {one.meaning} | {one.clause} |"
        for one in ConflictReason
    ]
    shipped = (root / "vectors" / "consists" / "harbour.toml").read_text("utf-8")
    assert f"```toml\n{shipped}```" in page
    assert all(re.search(rf"^\[*(unit\.)?{key}\b", shipped, re.M) for key in {**KEYS, **UNIT_KEYS})


def test_the_headlight_of_14_steps_goes_off_with_no_packet() -> None:
    """It comes with the speed, which a unit in a consist takes from there (S-9.2.1 §C; X18)."""
    lit = unit(21, "lead", {"bell": "F1"}, steps=14, on=["FL"])
    (told,) = (str(one) for one in conflicts(consist(lit)) if one.reason.value == "left-on")
    assert "stays on, as it comes with the speed" in told


@pytest.mark.parametrize("word", ["Bell", "HORN", "Rear Light"])
def test_words_of_common_practice_are_small(word: str) -> None:
    """Else they would count as the user's own, and nothing would be told of them."""
    with refused(FieldError, field="functions", value=word):
        unit(21, "lead", {word: "F1"})
