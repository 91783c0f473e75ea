"""A decoder's own CVs: what a description makes, and that all that knows CVs knows it."""

import copy
import json
import pickle
import re
import subprocess
import sys
from collections import Counter

import pytest
from described import SETUPS, TEXT, quay, shipped
from hypothesis import given
from hypothesis import strategies as st

from dccwire import cv
from dccwire.cv import VALUE_TYPES, CvSet, CvStatus, DecoderKind, IndexedCv, description_from_toml
from dccwire.cv.catalogue import is_left_to_makers
from dccwire.cv.description_fields import _KEYS
from dccwire.cv.description_reading import _TABLE
from dccwire.cv.value_text import notation_of
from dccwire.errors import FieldError, Reason, ShapeError, TextError
from dccwire.formats import Provenance
from refusals import refused


def page(number: int) -> IndexedCv:
    return IndexedCv(16, 3, number)


BY_HAND = [
    # 1RCC0CCD: 165 is 1010 0101: R 0, CC 10, CC 10, D 1; the current is binary 1010, 10.
    ("LampCurrent current=10 ramp=soft dark=1", {60: 0b1010_0101}),
    ("LampCurrent current=14 ramp=hard dark=0", {60: 0b1111_0100}),
    ("LampCurrent current=3 ramp=soft dark=0", {60: 0b1000_0110}),
    ("Hours hours=0h", {62: 0, 63: 0}),
    ("Hours hours=1205h", {62: 4, 63: 181}),  # 4 x 256 + 181
    ("KeyF1 lamps=a,h sound=99", {page(300): 129, page(301): 99}),
    ("KeyF2 lamps=none sound=0", {page(302): 0, page(303): 0}),
    ("Spare value=255", {100: 255}),
    ("ModuleLightLeft value=7", {900: 7}),
    ("ModuleLightRight value=8", {901: 8}),
]
"""Text and CVs of each type, the bits put together by hand."""


@pytest.mark.parametrize(("text", "values"), BY_HAND)
def test_values_go_both_ways(text: str, values: dict) -> None:
    """CVs, text, JSON and fields stand for the same; a value equals one that is made anew."""
    own = quay()
    cls = own.types[text.partition(" ")[0]]
    value = cls.from_cvs(values)
    assert (str(value), value.to_cvs(), value.cvs) == (text, values, tuple(values))
    assert cv.value_from_text(text, decoder=own) == value
    plain = json.loads(json.dumps(cv.value_to_plain(value)))
    assert cv.value_from_plain(plain, decoder=own) == value
    assert hash(cv.value_from_plain(plain, decoder=own)) == hash(value)
    (explanation,) = cv.explain_cvs(values, own)
    (reading,) = explanation.readings
    assert (reading.value, reading.notes, reading.cvs) == (value, (), value.cvs)
    assert cv.explain_value(value, own) == explanation
    assert f"= {text}" in explanation.text()


def test_all_types_are_put_together_by_hand() -> None:
    """None is missing above."""
    assert {text.partition(" ")[0] for text, _ in BY_HAND} == {*quay().types}


def test_a_description_is_what_its_text_says() -> None:
    """Names, clauses, statuses, notes, defaults; the standard's own types are as they were."""
    before = dict(VALUE_TYPES)
    own = quay()
    assert before == VALUE_TYPES
    assert (own.name, own.kind) == ("quay decoder", DecoderKind.MULTI_FUNCTION)
    keys = [60, 62, 63, page(300), page(301), page(302), page(303), 100, 900, 901]
    assert list(own.formats) == list(own.entries) == keys
    for cls in own.types.values():
        assert (cls.clause, cls.provenance) == ("its leaflet", Provenance.COMMON_PRACTICE)
        assert cls.decoder is own.kind
    assert own.types["LampCurrent"].__doc__ == "of each lamp"
    assert own.types["KeyF2"].__doc__ == "key F2"
    assert own.defaults == CvSet(
        {
            **{3: 4, 29: 6, 60: 165, 900: 7, 901: 7},
            **{page(300): 1, page(301): 0, page(302): 2, page(303): 50},
        }
    )
    lamp, key = own.entries[60], own.entries[page(302)]
    assert (lamp.first, lamp.last, lamp.name, lamp.page) == (60, 60, "lamp current", None)
    assert lamp.content == "of each lamp; by default 165"
    assert lamp.status is CvStatus.MANUFACTURER
    assert (key.first, key.last, key.name, key.page) == (302, 303, "key F2", (16, 3))
    assert (key.content, key.status) == ("by default 2, 50", CvStatus.OPTIONAL)
    assert own.entries[100].status is CvStatus.RESERVED
    assert own.entries[62].content == ""


def test_a_name_stands_for_the_source_where_none_is_given() -> None:
    """And an accessory decoder is one."""
    own = description_from_toml(
        'name = "gate"\ndecoder = "accessory"\n'
        '[[cv]]\nnumber = 40\nname = "arm"\nlayout = "VVVVVVVV"'
    )
    assert (own.kind, own.types["Arm"].clause) == (DecoderKind.ACCESSORY, "gate")
    assert own.defaults == CvSet()
    assert [one.format.__name__ for one in cv.describe(1, 3, own).readings] == [
        "AccessoryDecoderAddressing",
        "AccessoryOutputAddressing",
    ]
    (old,) = cv.explain_cvs({541: 192}, own)
    assert old.readings[0].cvs == (541,)
    assert cv.writes(CvSet(), CvSet({7: 1}), decoder=own)[0].cv == 7


def test_fields_have_their_defaults_where_the_cvs_have_some() -> None:
    """Text may leave them out; without defaults none may be left out, unless held."""
    own = quay()
    assert cv.value_from_text("LampCurrent ramp=hard", decoder=own).to_cvs() == {60: 0b1110_0101}
    assert own.types["KeyF2"]().to_cvs() == {page(302): 2, page(303): 50}
    with refused(TextError, reason=Reason.TEXT, match="field 'hours' is missing"):
        cv.value_from_text("Hours", decoder=own)
    held = {page(300): 3, page(301): 4}
    value = cv.value_from_text("KeyF1 sound=5", held, own)
    assert value.to_cvs() == {page(300): 3, page(301): 5}
    plain = {"type": "KeyF1", "lamps": []}
    assert cv.value_from_plain(plain, held, own).to_cvs() == {page(300): 0, page(301): 4}
    with refused(FieldError, field="index 16 3, CV 301", bound="a value"):
        cv.value_from_text("KeyF1 sound=5", {page(300): 3}, own)


@pytest.mark.parametrize(
    ("values", "note"),
    [
        ({60: 0b0010_0101}, "CV 60: bit 7 = 1 expected, 37 given"),
        ({60: 0b1010_1101}, "CV 60: bit 3 = 0 expected, 173 given"),
        ({60: 0b1011_0111}, "current: 0 to 14 expected, 15 given"),
        ({page(300): 0, page(301): 100}, "sound: 0 to 99 expected, 100 given"),
        ({62: 4}, "hours has bits in CV 63 too, not given here"),
    ],
)
def test_what_a_format_refuses_is_a_note(values: dict, note: str) -> None:
    """Bit by bit nothing is refused."""
    (reading,) = cv.explain_cvs(values, quay())[0].readings
    assert (reading.value, reading.notes) == (None, (note,))
    assert reading.rows


def test_words_that_are_no_choice_are_refused() -> None:
    """With what would help."""
    own = quay()
    with refused(TextError, reason=Reason.TEXT, match="ramp=x; hard or soft expected"):
        cv.value_from_text("LampCurrent ramp=x", decoder=own)
    with refused(ShapeError, path="value.ramp", expected="hard or soft", actual=1):
        cv.value_from_plain({"type": "LampCurrent", "ramp": 1}, decoder=own)
    with refused(
        TextError, reason=Reason.TEXT, match="no CV value 'LampCurent'; near it: LampCurrent"
    ):
        cv.value_from_text("LampCurent", decoder=own)
    with refused(TextError, reason=Reason.TEXT, match="no CV value 'LampCurrent'"):
        cv.value_from_text("LampCurrent")
    with refused(FieldError, field="decoder"):
        cv.value_from_text("Spare value=1", decoder="quay")
    assert next(notation_of(own).lines(["Spare"])) == "Spare: value (0 to 255) [its leaflet]"
    assert "CV 60" not in "".join(notation_of(own).lines())


def test_plain_cvs_are_those_of_the_page_that_cv_31_and_32_name() -> None:
    """Under the number that was given; of another, a reserved or an unknown page: none."""
    own = quay()
    for values, readings, name in (
        ({31: 16, 32: 3, 300: 1, 301: 5}, 1, "key F1"),
        ({31: 16, 32: 4, 300: 1, 301: 5}, 0, "indexed area"),
        ({31: 15, 32: 3, 300: 1}, 0, "indexed area"),
        ({31: 16, 300: 1}, 0, "indexed area"),
        ({300: 1, 32: 3}, 0, "indexed area"),
    ):
        (one,) = [one for one in cv.explain_cvs(values, own) if 300 in one.values]
        assert (len(one.readings), one.entries[0].name) == (readings, name)
        for reading in one.readings:
            assert reading.cvs == (300, 301)
            assert reading.value == own.types["KeyF1"](1, 5)
            assert one.text().startswith("CV 300 = 1, CV 301 = 5: key F1 (optional)\n")


def test_indexed_cvs_of_the_standard_alone_are_told_as_such() -> None:
    """By their page, in text and JSON; halves of a value too."""
    (one,) = cv.explain_cvs({page(300): 9})
    assert one.text().startswith("index 16 3, CV 300 = 9: indexed area (optional)\n")
    assert one.to_dict()["cvs"] == {"index 16 3, CV 300": 9}
    half = cv.describe(page(301), 100, quay())
    assert half.to_dict()["readings"][0]["bits"] == [
        {"cv": "index 16 3, CV 301", "bits": "7-0", "meaning": "sound=100"}
    ]
    assert "301   0110 0100  SSSS SSSS" in half.text()
    html = cv.explain_cvs({page(300): 1, page(301): 5}, quay())[0]._repr_html_()
    assert "index 16 3, CV 301 = 5" in html
    assert "<p>hours (manufacturer unique)</p>" in cv.describe(62, 1, quay())._repr_html_()


def test_the_text_of_a_described_pair_is_laid_out() -> None:
    """Looked at, and typed in."""
    assert cv.explain_cvs({60: 165}, quay())[0].text() == (
        "CV 60 = 165: lamp current (manufacturer unique)\n"
        "of each lamp; by default 165\n"
        "\n"
        "cv    bits       layout     meaning\n"
        "60    1010 0101  1RCC 0CCD  LampCurrent, its leaflet\n"
        "                  R         bit 6: ramp=soft\n"
        "                   CC       bits 5-4: current=10: 7mA (bits 3-2 of it)\n"
        "                       CC   bits 2-1: current=10: 7mA (bits 1-0 of it)\n"
        "                         D  bit 0: dark=1\n"
        "= LampCurrent current=10 ramp=soft dark=1"
    )
    text = cv.explain_cvs({62: 4, 63: 181}, quay())[0].text()
    assert text.splitlines()[1] == ""
    assert "hours" in text.splitlines()[0]


def test_the_catalogue_has_its_own_cvs_in_their_places() -> None:
    """Every number once and in order, index pages last; the rest is the standard's."""
    own = quay()
    entries = cv.catalogue(own)
    plain = [one for one in entries if one.page is None]
    assert [n for one in plain for n in range(one.first, one.last + 1)] == list(range(1, 1025))
    assert [(one.first, one.last) for one in entries[len(plain) :]] == [(300, 301), (302, 303)]
    ranges = [(one.first, one.last) for one in plain]
    for expected in ((47, 59), (60, 60), (61, 61), (62, 63), (64, 64), (96, 99), (101, 104)):
        assert expected in ranges
    assert (902, 1024) in ranges
    for number in range(1, 1025):
        told, standard = cv.entry(number, own), cv.entry(number)
        if number in own.entries:
            assert (told, told.status) == (own.entries[number], standard.status)
        else:
            assert told == standard
    assert cv.entry(page(304), own).name == "indexed area"
    assert cv.value_types(60, own) == (own.types["LampCurrent"],)
    assert cv.value_types(29, own) == cv.value_types(29, DecoderKind.MULTI_FUNCTION)
    assert cv.value_types(page(300), DecoderKind.MULTI_FUNCTION) == ()


def test_comments_of_a_set_and_orders_of_writes_know_it() -> None:
    """CSV has the names, `writes` the order of index pages, as for a kind of decoder."""
    own = quay()
    values = CvSet({page(300): 1, 60: 165, 29: 6})
    assert cv.to_csv(values, decoder=own) == (
        "index_high,index_low,cv,value,comment\n"
        ",,29,6,configuration\n,,60,165,lamp current\n16,3,300,1,key F1\n"
    )
    assert cv.from_csv(cv.to_csv(values, decoder=own)) == values
    done = cv.writes(CvSet(), values, decoder=own)
    assert done == cv.writes(CvSet(), values)
    assert [one.cv for one in done] == [60, 31, 32, 300, 29]


@given(
    st.dictionaries(st.sampled_from([*quay().formats, 3, 29, 61, 300, 31, 32]), st.integers(0, 255))
)
def test_every_value_can_be_explained_and_shown(values: dict) -> None:
    """Nothing is lost, no line too wide; what can be read gives the same CVs back."""
    own = quay()
    explained = cv.explain_cvs(values, own)
    assert Counter(key for one in explained for key in one.values) == Counter([*values])
    for one in explained:
        assert all(len(line) <= 60 for line in one.text(60).splitlines())
        json.dumps(one.to_dict())
        for reading in one.readings:
            if reading.value is not None:
                back = dict(zip(reading.cvs, reading.value.to_cvs().values(), strict=True))
                assert back == {key: values[key] for key in reading.cvs}


def test_what_the_standard_leaves_to_makers() -> None:
    """S-9.2.2, Tables 1 and 3: unique, reserved, the indexed area and modules."""
    left = {n for n in range(1, 1025) if is_left_to_makers(n, DecoderKind.MULTI_FUNCTION)}
    assert left == {
        *(20, 26, *range(47, 65), *range(96, 105), *range(107, 892), *range(896, 1025)),
    }
    left = {n for n in range(1, 1025) if is_left_to_makers(n, DecoderKind.ACCESSORY)}
    assert left == {*range(10, 28), 30, *range(33, 513), *range(522, 540), *range(542, 1025)}


def test_the_shipped_description_and_its_set_belong_together() -> None:
    """Some 60 CVs, each default readable; the set has all of them, with one that is unknown."""
    own = shipped()
    assert len(own.formats) == 57
    assert set(own.formats) <= set(own.defaults)
    held = cv.from_csv((SETUPS / "harbour-sound.csv").read_text("utf-8"))
    assert set(own.defaults) - set(held) == set()
    assert set(held) - set(own.defaults) == {7, 8, 124}
    for cls in own.types.values():
        assert cls.from_cvs(held) is not None
    assert cv.to_csv(held, decoder=own) == (SETUPS / "harbour-sound.csv").read_text("utf-8")
    function = own.types["FunctionF5"].from_cvs(held)
    assert str(function) == "FunctionF5 lights=none control=couple sound=couplers"
    assert own.types["SoundAtStart"].from_cvs({123: 0b11_000101}).to_cvs() == {123: 197}


def test_one_text_is_one_description() -> None:
    """Another text gives another one, with types of its own."""
    one, other = quay(), description_from_toml(f"{TEXT}\n")
    assert one is description_from_toml(TEXT)
    assert one != other
    assert one.types["Spare"](1) == quay().types["Spare"](1) != other.types["Spare"](1)


def test_descriptions_and_their_values_can_be_copied_and_pickled() -> None:
    """Also into a process that has not read the text."""
    own = quay()
    assert pickle.loads(pickle.dumps(own)) is own
    value = own.types["LampCurrent"](current=3)
    for again in (pickle.loads(pickle.dumps(value)), copy.copy(value), copy.deepcopy(value)):
        assert again == value
    code = "import pickle, sys; print(pickle.loads(sys.stdin.buffer.read()))"
    run = subprocess.run([sys.executable, "-c", code], input=pickle.dumps(value), stdout=-1)
    assert run.stdout.decode() == f"{value}\n"


def test_the_description_of_the_docs_is_one() -> None:
    """It is read as the page says, and every key that there is stands in it or below it."""
    docs = (SETUPS.parent.parent / "docs/own-cvs.md").read_text("utf-8")
    text = docs.split("```toml\n")[1].split("```")[0]
    own = description_from_toml(text)
    assert [*own.types] == ["LampCurrent", "KeyF1", "KeyF2", "KeyF3", "FlashRate"]
    assert [*own.formats] == [60, *(page(n) for n in (257, 258, 259)), 61]
    assert own.defaults[page(259)] == 4
    assert own.types["LampCurrent"].clause == "its leaflet, page 4"
    for key in (*_TABLE, *_KEYS, "source", "decoder", "defaults"):
        assert re.search(rf"\b{key}\b", text), key
