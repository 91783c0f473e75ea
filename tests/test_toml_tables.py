"""Tables of TOML: which line an error names, and what reading key by key refuses."""

import tomllib
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from dccwire.errors import FieldError, LayoutError, Reason, ShapeError, TextError
from dccwire.toml_tables import each, placed, read_document, read_table, truth, whole_number, words
from refusals import refused

STATEMENTS = (
    "{} = 1",
    "{} = 'a # b = [' # c = [",
    '{} = "\\"[" # "',
    '{} = """\nx = 1\n[y]\n\\""" = ["""""',
    '{} = """a"""" # "["',
    "{} = '''a'''' # '['",
    "{} = '''\n[[z]]\n{{'''''",
    "{} = [\n1,\n[2,\n3],\n]",
    "{} = [ # [\n'[', ']',\n'''\n]''' ]",
    "{} = {{ d = 1, e = [\n2 ] }}",
    "{}.inner.deep = 2",
    "",
    "# {} = 9 [",
    "\t",
)
"""Statements of one line and of several; the last three say nothing."""


@example([*STATEMENTS, STATEMENTS[0]], True, len(STATEMENTS))
@given(st.lists(st.sampled_from(STATEMENTS), max_size=12), st.booleans(), st.integers(0, 11))
def test_an_error_names_the_line_on_which_its_key_stands(
    chosen: list[str], table: bool, which: int
) -> None:
    """Counted while the text is put together; in a document, and in the second table of a list."""
    text = "[[t]]\n\n[[t]]\n" if table else "\ufeff"
    lines: dict[str, int] = {}
    for place, statement in enumerate(chosen):
        if statement in STATEMENTS[:11]:
            lines[f"k{place}"] = text.count("\n") + 1
        text += statement.format(f"k{place}") + "\n"
    tomllib.loads(text.removeprefix("\ufeff"))
    path = "t[1]." if table else ""
    wanted = f"k{which}"

    def fail(plain: Any, _: str) -> None:
        raise ShapeError(path + wanted, "nothing", plain)

    around = 3 if table else 1
    where = f"line {lines.get(wanted, around)}, {path}{wanted}"
    for document in (text, text.replace("\n", "\r\n")):
        with refused(ShapeError) as caught:
            read_document(document, fail)
        assert caught.value.path == where


@pytest.mark.parametrize(
    ("path", "line"),
    [
        ("a", 1),
        ("a.b", 2),
        ("a.b.c.d", 3),
        ("a.x", 1),
        ("f[0]", 5),
        ("f[1].g", 9),
        ("f[2]", 5),
        ("f[1].h[1]", 10),
        ("f.g", 5),
        ("nothing at all", 1),
        ("a[0]", 1),
        ("[" + "9" * 5000 + "]", 1),
        ("", 1),
    ],
)
def test_the_nearest_table_stands_for_a_key_that_is_not_there(path: str, line: int) -> None:
    """Typed in; a table begins with its header, and one of a list with its own."""
    text = "[a]\n[a.b]\nc = {d = 1, e = 2}\n\n[[f]]\ng = 1\n\n[[f]]\ng = 2\nh = [\n1, 2\n]\n"

    def fail(plain: Any, _: str) -> None:
        raise ShapeError(path, "nothing", None)

    with refused(ShapeError) as caught:
        read_document(text, fail)
    assert caught.value.path.startswith(f"line {line}, {path}")


@pytest.mark.parametrize(
    ("text", "line", "problem"),
    [
        ("a = 1\nb = \n", 2, "Invalid value"),
        ("a = 1\n\nb", 3, "Expected '=' after a key"),
        ("a = '''\n\nx\n\n\n", 3, "Expected"),
        ("a = 1\na = 2", 2, "Cannot overwrite a value"),
        ("a = " + "[" * 5000, 1, "recursion"),
        ("a = " + "9" * 5000, 1, "Exceeds the limit"),
        ("\x00", 1, "Invalid statement"),
    ],
)
def test_what_is_no_toml_is_told_with_its_line(text: str, line: int, problem: str) -> None:
    """Typed in: the line that cannot be read, or the last one where the end comes too soon."""
    with refused(ShapeError, path=f"line {line}", expected="TOML") as caught:
        read_document(text, lambda plain, path: plain)
    assert problem.lower() in caught.value.hint.lower()
    assert caught.value.actual in text


def test_keys_are_read_by_their_readers() -> None:
    """Each kind of value, and lists of them; nothing else is taken for one."""
    keys = {"yes": truth, "count": whole_number, "name": words, "some": each(whole_number)}
    plain = {"yes": False, "count": 3, "name": "quay", "some": [1, 2]}
    assert read_table(plain, "", keys) == {**plain, "some": (1, 2)}
    for key, wrong, expected in (
        ("yes", 1, "true or false"),
        ("count", True, "a whole number"),
        ("count", 1.0, "a whole number"),
        ("name", 3, "a text"),
        ("some", 3, "a list"),
    ):
        with refused(ShapeError, path=f"t.{key}", expected=expected, actual=wrong, hint=""):
            read_table({key: wrong}, "t", keys)
    with refused(ShapeError, path="some[1]", expected="a whole number", actual="x"):
        read_table({"some": [1, "x"]}, "", keys)
    with refused(ShapeError, hint="a table in it begins with [[some]]"):
        read_table({"some": {}}, "", keys)
    with refused(ShapeError, path="t", expected="the key name", actual={"count": 3}):
        read_table({"count": 3}, "t", keys, needed=("count", "name"))
    with refused(ShapeError, path="the document", expected="the key name"):
        read_table({}, "", keys, needed=("name",))
    with refused(ShapeError, path="t", expected="a table", actual=3):
        read_table(3, "t", keys)
    with refused(ShapeError, path="t.nam", expected="a known key", hint="perhaps name"):
        read_table({"nam": "x"}, "t", keys)
    with refused(ShapeError, path="qqq", hint="known are yes, count, name, some"):
        read_table({"qqq": "x"}, "", keys)
    with refused(ShapeError, path="qqq", expected="a known key"):  # before any value is judged
        read_table({"count": "x", "qqq": 3}, "", keys)


WORDS = "words that can be read"


@pytest.mark.parametrize(
    ("error", "expected", "actual", "hint"),
    [
        (FieldError("cv", "1 to 1024", 0, "so"), "cv: 1 to 1024", 0, "so"),
        (LayoutError("AAA", "eight bits"), "a layout line", "AAA", "eight bits"),
        (TextError(Reason.TEXT, "x y", 2, "no y", "so"), WORDS, "x y", "no y; so"),
        (TextError(Reason.TEXT, "x y", 2, "no y", ""), WORDS, "x y", "no y"),
    ],
)
def test_other_errors_get_the_path(error, expected: str, actual: object, hint: str) -> None:
    """And keep what they say."""

    def fail() -> None:
        raise error

    with refused(ShapeError, path="a.b", expected=expected, actual=actual, hint=hint):
        placed("a.b", fail)
