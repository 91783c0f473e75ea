"""Wrong descriptions: each is told with line and key, what is wrong, and what would help."""

import re

import pytest
from described import TEXT
from hypothesis import given
from hypothesis import strategies as st

from dccwire.cv import description_from_toml
from dccwire.cv.description_fields import _KEYS
from dccwire.cv.description_reading import _TABLE
from dccwire.errors import ShapeError
from refusals import refused

TABLE = """\
name = "quay"

[[cv]]
number = 60
name = "lamp"
layout = "00CCCCRD"
default = 5
fields.current = { letters = "C", unit = "mA" }
fields.rest = { letters = "R D", choices = { 0 = "off", 1 = "on" } }
"""


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('name = "quay"\n', "", "line 1, the document: the key name expected"),
        ('"quay"', '"quay"\nnames = 1', "line 2, names: a known key expected, 1 given; perhaps na"),
        ('"quay"', '"quay"\nzzz = 1', "known are name, source, decoder, defaults, cv"),
        ('"quay"', "3", "line 1, name: a text expected, 3 given"),
        ('"quay"', '" quay"', "line 1, name: 1 to 60 characters that can be printed, blanks one"),
        ('"quay"', '""', "line 1, name: 1 to 60 characters"),
        ('"quay"', '"a\\u0007"', "line 1, name: 1 to 60 characters"),
        ('"quay"', f'"{"a" * 61}"', "line 1, name: 1 to 60 characters"),
        ('"quay"', '"quay"\ndecoder = "x"', "line 2, decoder: 'multi-function' or 'acc"),
        ('"quay"', '"quay"\ndecoder = 3', "line 2, decoder: a text expected, 3 given"),
        ('"quay"', '"quay"\ndefaults = 3', "line 2, defaults: a table expected, 3 given"),
        ('"quay"', '"quay"\n[defaults]\n3 = 4\n0 = 1', "line 4, defaults.0: cv: 1 to 1024 exp"),
        ('"quay"', '"quay"\n[defaults]\nx = 1', "line 3, defaults.x: cv: 1 to 1024 expected"),
        ('"quay"', '"quay"\n[defaults]\n3 = 256', "line 3, defaults.3: CV 3: 0 to 255 expected"),
        ('"quay"', '"quay"\n[defaults]\n3 = "4"', "line 3, defaults.3: a whole number expected"),
        (
            '"quay"',
            '"quay"\n[defaults]\n3 = 4\n03 = 5',
            "line 4, defaults.03: a CV once expected, 5 given; CV 3 = 4 stands before",
        ),
        (
            '"quay"',
            '"quay"\n[defaults]\n60 = 4',
            "line 3, defaults.60: a CV of the standard expected, 4 given; CV 60 is described below,"
            " where its default belongs",
        ),
        ("[[cv]]", "[cv]", "line 3, cv: a list expected"),
        ("[[cv]]", "[cv]", "; a table in it begins with [[cv]]"),
        ("number = 60\n", "", "line 3, cv[0]: the key number expected"),
        ('layout = "00CCCCRD"\n', "", "line 3, cv[0]: the key layout expected"),
        ("number = 60", 'number = "60"', "line 4, cv[0].number: a whole number expected, '60' giv"),
        ("number = 60", "number = 0", "line 4, cv[0].number: cv: 1 to 1024 expected, 0 given"),
        ("number = 60", "number = 1025", "line 4, cv[0].number: cv: 1 to 1024 expected"),
        ("number = 60", f"number = {'9' * 19}", "line 4, cv[0].number: cv: 1 to 1024 expected"),
        ("number = 60", "numbr = 60", "line 4, cv[0].numbr: a known key expected, 60 given; perh"),
        (
            "number = 60",
            "number = 29",
            "line 4, cv[0].number: a CV that the standard leaves to the maker expected, 29 given; "
            "CV 29 is the standard's configuration",
        ),
        ("number = 60", "number = 7", "CV 7 is the standard's manufacturer version"),
        ("number = 60", "number = 895", "CV 895 is the standard's water"),
        ("number = 60", "number = 31", "CV 31 is the standard's index page"),
        ("number = 60", "number = 300", "line 4, cv[0].number: a page for CV 257 to 512 expected"),
        ("number = 60", "number = 300\npage = [16]", "line 5, cv[0].page: CV 31 and CV 32 expect"),
        ("number = 60", "number = 300\npage = [15, 0]", "line 5, cv[0].page: high: 16 to 255 exp"),
        ("number = 60", "number = 300\npage = [16, 256]", "line 5, cv[0].page: low: 0 to 255 exp"),
        ("number = 60", "number = 300\npage = 16", "line 5, cv[0].page: a list expected, 16 given"),
        ("number = 60", "number = 300\npage = [16, 'x']", "line 5, cv[0].page[1]: a whole number"),
        (
            "number = 60",
            "number = 511\npage = [16, 0]\nrows = ['a', 'b', 'c']",
            "line 4, cv[0].number: indexed cv: 257 to 512 expected, 513 given; its 3 CVs are 511 "
            "to 513",
        ),
        (
            "number = 60",
            "number = 6\nrows = ['a', 'b']",
            "CV 6 is the standard's V mid; its 2 CVs are 6 to 7",
        ),
        ("number = 60", "number = 60\npage = [16, 0]", "line 4, cv[0].number: indexed cv: 257 to"),
        ('"lamp"', '"9 lamps"', "line 5, cv[0].name: a name that begins with a letter a to z exp"),
        ('"lamp"', '"!"', "line 5, cv[0].name: a name that begins with a letter a to z expected"),
        ('"lamp"', '"configuration"', "a name of its own expected, 'configuration' given; the st"),
        ('"lamp"', '"lamp"\nrows = []', "line 6, cv[0].rows: one row or more, each name once"),
        ('"lamp"', '"lamp"\nrows = ["a", "a"]', "line 6, cv[0].rows: one row or more, each name"),
        ('"lamp"', '"lamp"\nrows = ["a b", "A-b"]', "line 6, cv[0].rows: a name of its own expec"),
        ('"lamp"', '"lamp"\nrows = "a"', "line 6, cv[0].rows: a list expected, 'a' given"),
        ('"lamp"', '"lamp"\nnote = 3', "line 6, cv[0].note: a text expected, 3 given"),
        ('"lamp"', f'"lamp"\nnote = "{"a" * 241}"', "line 6, cv[0].note: 1 to 240 characters"),
        (
            '"00CCCCRD"',
            '"00CCCCR"',
            "line 6, cv[0].layout: a layout line expected, '00CCCCR' given; groups of eight 0, 1 or"
            " letters expected",
        ),
        ('"00CCCCRD"', '"00CCCCRE"', "line 9, cv[0].fields.rest.letters: letters of the layout"),
        ('"00CCCCRD"', '"0QCCCCRD"', "line 6, cv[0].layout: a layout line expected, '0QCCCCRD' g"),
        ('"00CCCCRD"', "3", "line 6, cv[0].layout: a text expected, 3 given"),
        ("default = 5", "default = 256", "line 7, cv[0].default: 0 to 255 expected, 256"),
        ("default = 5", "default = -1", "line 7, cv[0].default: 0 to 255 expected, -1 "),
        ("default = 5", "default = [1, 2]", "line 7, cv[0].default: a number for each CV: 1 exp"),
        ("default = 5", "default = []", "line 7, cv[0].default: a number for each CV: 1 expected"),
        (
            "default = 5",
            "default = 1.5",
            "line 7, cv[0].default: a number, or a list of one for eac",
        ),
        (
            "default = 5",
            "default = 'x'",
            "line 7, cv[0].default: a number, or a list of one for each",
        ),
        ("default = 5", "default = [1, 'x']", "line 7, cv[0].default[1]: a whole number expected"),
        ("default = 5", "default = 66", "line 7, cv[0].default: a layout line expected, '00CCCCRD"),
        ("default = 5", "default = 2", "line 7, cv[0].default: rest: on or off expected, 2 given"),
        ("default = 5", 'rows = ["a", "b"]\ndefault = [1, 2, 3]', "1, the same for each row, or 2"),
        ("fields.current", "fields.Current", "line 8, cv[0].fields.Current: a field's name expec"),
        ("fields.current", "fields.in_words", "line 8, cv[0].fields.in_words: a field's name exp"),
        ("fields.current", "fields.type", "line 8, cv[0].fields.type: a field's name expected"),
        ("fields.current", "fields.class", "line 8, cv[0].fields.class: a field's name expected"),
        ("fields.current", "fields.cvs", "line 8, cv[0].fields.cvs: a field's name expected"),
        ("fields.current", "fields.layout", "line 8, cv[0].fields.layout: a field's name expected"),
        ("fields.current", "fields.'0'", "line 8, cv[0].fields.0: a field's name expected"),
        ('{ letters = "C", unit = "mA" }', "3", "line 8, cv[0].fields.current: a table expected"),
        ('letters = "C", ', "", "line 8, cv[0].fields.current: the key letters expected"),
        ('letters = "C"', 'letters = "C + 1"', "letters without an offset expected, 'C + 1' given"),
        ('letters = "C"', 'letters = "C C"', "line 8, cv[0].fields.current.letters: letters of th"),
        ('letters = "C"', 'letters = "C R"', "line 6, cv[0].layout: a layout line expected"),
        ('letters = "C"', 'letters = ""', "line 8, cv[0].fields.current.letters: letters of the"),
        ('letters = "C"', 'letters = "Z"', "it has C, D, R; each stands once, with a blank betw"),
        ('letters = "C"', 'letters = "Z"', "line 8, cv[0].fields.current.letters: letters of the"),
        ('letters = "C"', "letters = 3", "line 8, cv[0].fields.current.letters: a text expected"),
        ('unit = "mA"', 'unti = "mA"', "line 8, cv[0].fields.current.unti: a known key expected"),
        ('unit = "mA"', 'unit = "m A"', "line 8, cv[0].fields.current.unit: a unit without a bl"),
        ('unit = "mA"', 'unit = "1A"', "line 8, cv[0].fields.current.unit: a unit without a blan"),
        ('unit = "mA"', 'unit = ""', "line 8, cv[0].fields.current.unit: a unit without a blank"),
        ('unit = "mA"', 'unit = "m\\u0001"', "current.unit: a unit without a blank"),
        ('unit = "mA"', "unit = 3", "line 8, cv[0].fields.current.unit: a text expected, 3 given"),
        ('unit = "mA"', "range = [0, 16]", "fields.current.range: 0 to 15 in 4 bits expected, 16"),
        ('unit = "mA"', "range = [1, 600]", "current.range: 0 to 15 in 4 bits expected, 600"),
        ('unit = "mA"', "range = [3, 2]", "the lowest and the highest number, 65535 at most exp"),
        ('unit = "mA"', "range = [1]", "the lowest and the highest number, 65535 at most expecte"),
        ('unit = "mA"', "range = [0, 65536]", "the lowest and the highest number, 65535 at most"),
        ('unit = "mA"', "range = [-1, 2]", "the lowest and the highest number, 65535 at most"),
        ('unit = "mA"', "range = 3", "line 8, cv[0].fields.current.range: a list expected, 3 giv"),
        ('"mA"', '"mA", formula = "2 x value"', "current.formula: words such as 'value x"),
        ('"mA"', '"mA", formula = "value / 0"', "current.formula: words such as 'value x"),
        ('"mA"', '"mA", formula = "value x 0"', "current.formula: words such as 'value x"),
        (
            '"mA"',
            '"mA", formula = 3',
            "line 8, cv[0].fields.current.formula: a text expected, 3 given",
        ),
        ('unit = "mA"', 'formula = "value x 2"', "line 8, cv[0].fields.current: a unit beside the"),
        ('unit = "mA"', 'functions = ["a"]', "current.functions: a word for each of 4 bits, bit 0"),
        ('unit = "mA"', 'functions = ["a", "b", "a", "c"]', "current.functions: each word once, a"),
        ('unit = "mA"', 'functions = ["a", "b", "none", "c"]', "current.functions: each word once"),
        ('unit = "mA"', 'functions = ["a", "b c", "d", "e"]', "current.functions[1]: a word of le"),
        ('unit = "mA"', 'functions = ["a", 3, "d", "e"]', "current.functions[1]: a text expected"),
        (
            'unit = "mA"',
            'functions = ["a", "b", "c", "d"], unit = "V"',
            "line 8, cv[0].fields.current: keys that go together expected, ['letters', 'functions',"
            " 'unit'] given; choices and functions stand alone",
        ),
        ("choices = {", "range = [0, 1], choices = {", "cv[0].fields.rest: keys that go together"),
        ("choices = {", 'formula = "value", choices = {', "fields.rest: keys that go together"),
        ('0 = "off", 1 = "on"', "", "line 9, cv[0].fields.rest.choices: numbers and their words"),
        ('0 = "off"', '0 = "Off"', "fields.rest.choices.0: a word in lower case, and each once"),
        ('0 = "off"', '0 = "on"', "fields.rest.choices.1: a word in lower case, and each once"),
        ('0 = "off"', '0 = "off", 00 = "of"', "fields.rest.choices.00: a word in lower case, an"),
        (
            '0 = "off"',
            '0 = "1"',
            "fields.rest.choices.0: a word that is no number expected, '1' gi",
        ),
        ('0 = "off"', '0 = "1.5"', "fields.rest.choices.0: a word that is no number expected, '"),
        ('0 = "off"', 'x = "off"', "fields.rest.choices.x: number: a whole number expected, 'x'"),
        ('0 = "off"', '4 = "off"', "line 9, cv[0].fields.rest.choices: 0 to 3 in 2 bits expected"),
        ('0 = "off"', "0 = 3", "line 9, cv[0].fields.rest.choices.0: a text expected, 3 given"),
        ('{ 0 = "off", 1 = "on" }', "3", "line 9, cv[0].fields.rest.choices: a table expected, 3"),
        ("fields.current", "# ", "line 6, cv[0].layout: a layout line expected, '00CCCCRD' given"),
    ],
)
def test_a_wrong_description_is_told_with_line_and_key(old: str, new: str, told: str) -> None:
    """One change of a description that is right."""
    description_from_toml(TABLE)
    assert TABLE.count(old) >= 1
    with refused(ShapeError) as caught:
        description_from_toml(TABLE.replace(old, new, 1))
    assert told in str(caught.value)
    assert str(caught.value).startswith("line ")


def test_fields_may_be_left_out_where_there_is_one_letter() -> None:
    """Of two, the error says what would help."""
    head = 'name = "quay"\n[[cv]]\nnumber = 60\nname = "lamp"\n'
    assert description_from_toml(f'{head}layout = "0LLLLLLL"').types["Lamp"](3).to_cvs() == {60: 3}
    for layout in ("KLLLLLLL", "01010101"):
        with refused(ShapeError, path="line 2, cv[0].fields", expected="a field for each letter"):
            description_from_toml(f'{head}layout = "{layout}"')


def test_a_cv_is_described_once() -> None:
    """By one table, under one name; the same number on another page is another CV."""
    more = '\n[[cv]]\nnumber = 63\nname = "more"\nlayout = "VVVVVVVV"\n'
    with refused(ShapeError, expected="a CV once", hint="CV 63 is of Hours already") as caught:
        description_from_toml(TEXT + more)
    assert caught.value.path == f"line {TEXT.count(chr(10)) + 3}, cv[5].number"
    indexed = more.replace("63", "303\npage = [16, 3]")
    with refused(ShapeError, hint="index 16 3, CV 303 is of KeyF2 already"):
        description_from_toml(TEXT + indexed)
    assert len(description_from_toml(TEXT + indexed.replace("16, 3", "16, 4")).types) == 8
    with refused(ShapeError, hint="this description has a Spare"):
        description_from_toml(TEXT + more.replace("63", "64").replace("more", "spare"))
    long = more.replace("63", "1024").replace("VVVVVVVV", "VVVVVVVV VVVVVVVV")
    with refused(ShapeError, expected="cv: 1 to 1024", actual=1025):
        description_from_toml(TEXT + long)


@given(st.data())
def test_a_description_is_read_or_refused_with_a_line(data: st.DataObject) -> None:
    """Whatever stands under the keys: a line of the text, one message, never another error."""
    value = st.sampled_from(
        ["3", "60", "[1]", "[16, 0]", '"x"', '"V"', '"VVVVVVVV"', "{}", "true", "1.5", '["a"]']
    )
    keys = st.sampled_from([*_TABLE, *(f"fields.value.{key}" for key in _KEYS)])
    chosen = data.draw(st.dictionaries(keys, value, max_size=8))
    usual = {"number": "60", "name": '"lamp"', "layout": '"VVVVVVVV"'}
    lines = [f"{key} = {value}" for key, value in {**usual, **chosen}.items()]
    text = "\n".join(['name = "quay"', "[[cv]]", *lines])
    told = _told(text)
    assert told is None or re.match("line [0-9]+(, |: TOML)", told)
    if told is not None:
        assert "\n" not in told
        assert 1 <= int(re.findall("[0-9]+", told)[0]) <= text.count("\n") + 1


def _told(text: str) -> str | None:
    """What is wrong with a description, if something is."""
    try:
        description_from_toml(text)
    except ShapeError as error:
        return str(error)
    return None
