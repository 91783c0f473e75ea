"""A set of CVs shown whole: what differs first, each value in words, the unknown as such."""

import json

import pytest
from cv_strategies import SETS
from described import SETUPS, quay, shipped
from hypothesis import given

from dccwire import cv
from dccwire.cv import (
    CvChange,
    CvSet,
    CvState,
    DecoderKind,
    IndexedCv,
    description_from_toml,
    overview,
)
from dccwire.cv.overview import change_in_words
from dccwire.errors import FieldError
from refusals import refused

ACCESSORY = DecoderKind.ACCESSORY


def page(number: int) -> IndexedCv:
    return IndexedCv(16, 3, number)


@pytest.mark.parametrize(
    ("values", "state", "words"),
    [
        ({60: 165}, "default", "current=10: 7mA; ramp=soft; dark=1"),
        ({60: 0b1110_0101}, "changed", "ramp=soft -> hard"),
        ({60: 0b1010_0111}, "changed", "current=10: 7mA -> 11: 7.5mA"),
        (
            {60: 0b1010_1101},
            "changed",
            "ramp=soft; current=10: 7mA (bits 3-2 of it); ",
        ),
        ({62: 1, 63: 2}, "no-default", "hours=258h"),
        ({62: 1}, "no-default", "hours: bits 15-8 of it; hours has bits in CV 63 too, not given"),
        ({page(300): 3, page(301): 0}, "changed", "lamps=a -> a,b"),
        ({31: 16, 32: 3, 300: 3, 301: 0}, "changed", "lamps=a -> a,b"),
        ({page(301): 7}, "changed", "sound=7"),
        ({61: 4}, "unknown", "the maker's manual says what it holds"),
        ({page(350): 4}, "unknown", "CVs of the index page that CV 31 and 32 name"),
        ({902: 4}, "unknown", "CVs of modules beside the decoder"),
        ({26: 4}, "unknown", "reserved by the standard"),
        ({7: 4}, "no-default", "version of the decoder"),
        ({3: 4}, "default", "rate=4; a step takes 0.256 s at 14 steps"),
        ({1: 0}, "changed", "address=3 -> 0; short 3, while CV 29 bit 5 is 0 -> no address"),
        ({19: 137}, "no-default", "reversed=yes; address=9; in consist 9, this unit reversed"),
        ({36: 8}, "default", "f2=4 of 8 7 6 5 4 3 2 1"),
    ],
)
def test_each_value_is_told_in_words(values: dict, state: str, words: str) -> None:
    """Typed in; from the default on where it differs."""
    *_, line = [
        one for one in overview(values, quay()).lines if {*one.explanation.values} - {31, 32}
    ]
    assert (line.state.value, line.words[: len(words)]) == (state, words)


def test_many_fields_are_told_but_for_those_that_are_0() -> None:
    """CV 29 has seven, CV 33 to 46 fourteen; a table of 28 points is one."""
    (line,) = overview({29: 0b10}).lines
    assert line.words == (
        "headlight_in_function_group=yes: FL in function group one: 28 steps; all else is none"
    )
    located = cv.OutputLocations().moved("F3", {3, 5}).to_cvs()
    (line,) = overview(located).lines
    assert line.words == "f3=5 -> 3,5"
    assert str(line) == "CV 33 to 46: output location; f3=5 -> 3,5"
    (line,) = overview(cv.OutputLocations().to_cvs()).lines
    assert "all else" not in line.words
    assert line.state is CvState.DEFAULT


def test_up_to_four_fields_are_all_told() -> None:
    """Of five, those that are not 0."""
    text = 'name = "quay"\n[[cv]]\nnumber = 60\nname = "lamps"\n'
    for letters, words in (
        ("ABCDDDDD", "a=0; b=1; c=0; d=0"),
        ("ABCDEEEE", "b=1; all else is none"),
    ):
        fields = "\n".join(f'fields.{letter.lower()} = "{letter}"' for letter in sorted({*letters}))
        own = description_from_toml(f'{text}layout = "{letters}"\n{fields}')
        assert overview({60: 64}, own).lines[0].words == words


def test_half_of_the_defaults_is_no_default() -> None:
    """A pair is as by default if both its CVs are."""
    for more, state in (("", CvState.NO_DEFAULT), ("18 = 5", CvState.DEFAULT)):
        own = description_from_toml(f'name = "quay"\n[defaults]\n17 = 192\n{more}')
        (line,) = overview({17: 192, 18: 5}, own).lines
        assert line.state is state
    assert overview({17: 193, 18: 5}, own).lines[0].state is CvState.CHANGED


def test_two_readings_are_told_both() -> None:
    """CV 1 and 9 of an accessory decoder; CV 29 chooses."""
    (line,) = overview({1: 14, 9: 1}, ACCESSORY).lines
    assert line.state is CvState.CHANGED
    first, second = line.words.split(" or ")
    assert first.startswith("address=1 -> 78")
    assert second.startswith("number=1 -> 270")
    line, _ = overview({1: 14, 9: 1, 29: 128}, ACCESSORY).lines
    assert " or " not in line.words
    (line,) = overview({1: 0, 9: 0}, ACCESSORY).lines
    first, second = line.words.split(" or ")
    assert first.startswith("address=1 -> 0")
    assert second.endswith("number: 1 to 2047 expected, 0 given")


def test_the_defaults_are_those_of_the_standard_and_of_the_description() -> None:
    """Typed in from S-9.2.2: CV 1, and Table 2 for CV 33 to 46; CV 1 and 9."""
    outputs = (1, 2, 4, 8, 16, 4, 8, 16, 32, 64, 16, 32, 64, 128)
    standard = {1: 3, **dict(zip(range(33, 47), outputs, strict=True))}
    assert dict(cv.defaults_of(DecoderKind.MULTI_FUNCTION)) == standard
    assert dict(cv.defaults_of(ACCESSORY)) == {1: 1, 9: 0}
    assert cv.defaults_of(quay()) == CvSet(standard.items()) | quay().defaults


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ((60, 165, 133), "current=10: 7mA (bits 3-2 of it) -> 2: 3mA (bits 3-2 of it); "),
        ((60, 165, None), ""),
        ((60, None, 228), "ramp=hard; current=10: 7mA (bits 3-2 of it); "),
        ((62, 1, 2), ""),
        ((61, 1, 2), ""),
        ((page(300), 1, 128), "lamps=a -> h"),
        ((94, 200, 210), "number 28 of points: 200 -> 210"),
        ((36, 8, 0), "f2=4 -> none"),
        ((29, 6, 134), ""),
        ((29, 6, 70), "reserved=none -> bit-6 (kept)"),
        ((19, 5, 133), "reversed=no -> yes"),
    ],
)
def test_a_change_of_one_cv_is_told_by_its_fields(change: tuple, words: str) -> None:
    """As far as the CV alone tells; of one kind of decoder's configuration to another's nothing."""
    held = [CvSet({change[0]: one} if one is not None else {}) for one in change[1:]]
    told = change_in_words(CvChange(*change), quay(), *held)
    assert told[: len(words) or None] == words


def test_a_change_that_has_two_readings_is_told_by_none() -> None:
    """CV 1 of an accessory decoder; CV 28 has but one."""
    assert change_in_words(CvChange(1, 3, 4), ACCESSORY, CvSet({1: 3}), CvSet({1: 4})) == ""
    told = change_in_words(CvChange(28, 0, 1), ACCESSORY, CvSet({28: 0}), CvSet({28: 1}))
    assert told == "unsolicited=no: disabled -> yes: enabled"


def test_what_several_cvs_make_is_told_at_the_last_that_differs() -> None:
    """A long address: CV 18 if it differs, else CV 17; nothing where a set lacks a part of it."""
    low, mid, high = ({17: 192, 18: 128}, {17: 196, 18: 181}, {17: 196, 18: 128})
    for old, new, told in (
        (low, mid, {17: "", 18: "address=128 -> 1205"}),
        (low, high, {17: "address=128 -> 1152"}),
        (mid, high, {18: "address=1205 -> 1152"}),
        (low, {17: 196}, {17: "", 18: ""}),
        ({17: 0, 18: 128}, mid, {17: "", 18: ""}),
    ):
        sets = CvSet(old), CvSet(new)
        changes = cv.difference(*sets)
        words = {one.key: change_in_words(one, quay(), *sets) for one in changes}
        assert {cv: one.partition(";")[0] for cv, one in words.items()} == told


TEXT = """\
9 CVs: 2 differ from the defaults, 5 do not or have none, 2 are unknown

differs from the defaults
- CV 3 = 5 (by default 4): acceleration rate; rate=4 -> 5; a step takes 0.256 s
  at 14 steps, 0.128 s at 28 steps; full speed after 3.584 s -> a step takes
  0.320 s at 14 steps, 0.160 s at 28 steps; full speed after 4.48 s
- index 16 3, CV 300 = 1, CV 301 = 9 (by default 1, 0): key F1; sound=0 -> 9

as by default, or of no known default
- CV 7 = 2: manufacturer version; version of the decoder
- CV 60 = 165: lamp current; current=10: 7mA; ramp=soft; dark=1
- CV 62 = 0, CV 63 = 9: hours; hours=9h

unknown
- CV 61 = 5: manufacturer unique; the maker's manual says what it holds
- index 16 9, CV 257 = 1: indexed area; CVs of the index page that CV 31 and 32
  name"""


def test_the_whole_is_laid_out() -> None:
    """By sections, by number in each; looked at, and typed in."""
    values = {3: 5, 7: 2, 60: 165, 61: 5, 62: 0, 63: 9, page(300): 1, page(301): 9}
    shown = overview({**values, IndexedCv(16, 9, 257): 1}, quay())
    assert shown.text() == TEXT
    assert overview({}).text() == (
        "0 CVs: 0 differ from the defaults, 0 do not or have none, 0 are unknown"
    )
    assert (
        overview({1: 4})
        .text()
        .startswith("1 CV: 1 differs from the defaults, 0 do not or have none, 0 are unknown")
    )
    assert (
        overview({3: 4, 26: 1})
        .text()
        .startswith("2 CVs: 0 differ from the defaults, 1 does not or has none, 1 is unknown")
    )
    (line,) = overview({62: 1, 63: 2, page(301): 1}, quay()).lines[:1]
    assert str(line).startswith("index 16 3, CV 301 = 1 (by default 0): key F1")


def test_json_has_the_same() -> None:
    """CVs, defaults, state, names, values, words."""
    line = overview({page(300): 1, page(301): 9}, quay()).lines[0]
    assert json.loads(json.dumps(line.to_dict())) == {
        "cvs": {"index 16 3, CV 300": 1, "index 16 3, CV 301": 9},
        "defaults": {"index 16 3, CV 300": 1, "index 16 3, CV 301": 0},
        "state": "changed",
        "names": ["key F1"],
        "values": [{"type": "KeyF1", "lamps": ["a"], "sound": 9}],
        "words": "sound=0 -> 9",
    }
    assert overview({17: 3}).lines[0].to_dict()["values"] == [None]


@given(SETS)
def test_every_set_can_be_shown(values: CvSet) -> None:
    """Each CV in one line and no other, in the widths asked for, as JSON too."""
    for decoder in (quay(), *DecoderKind):
        shown = overview(values, decoder)
        keys = [key for one in shown.lines for key in one.explanation.values]
        assert len(keys) == len(values)
        assert set(keys) == set(values)
        text = shown.text(64)
        assert all(len(line) <= 64 for line in text.splitlines())
        for one in shown.lines:
            told = one.to_dict()
            assert told["words"]
            differs = any(told["cvs"][cv] != value for cv, value in told["defaults"].items())
            assert (told["state"] == "changed") is differs


def test_the_shipped_set_is_shown_whole() -> None:
    """What was changed in the workshop, by number, and the one CV that nobody describes."""
    values = cv.from_csv((SETUPS / "harbour-sound.csv").read_text("utf-8"))
    lines = overview(values, shipped()).lines
    states = [one.state for one in lines]
    changed = [one.explanation.entries[0].name for one in lines if one.state is CvState.CHANGED]
    assert changed == [
        *("acceleration rate", "deceleration rate", "V high", "extended address", "configuration"),
        *("motor control", "shunting speed", "running hours", "main volume", "volume horn"),
        *("volume crane", "idle sounds", "light crane", "lights while shunting"),
        *("function F8", "function F12"),
    ]
    assert states.count(CvState.UNKNOWN) == 1
    assert [*lines[-1].explanation.values] == [124]


@pytest.mark.parametrize(("values", "field"), [({0: 1}, "cv"), ({3: 256}, "CV 3")])
def test_what_is_no_set_is_refused(values: dict, field: str) -> None:
    """As by `CvSet`."""
    with refused(FieldError, field=field):
        overview(values)
