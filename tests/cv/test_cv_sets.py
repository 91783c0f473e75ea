"""Sets of CVs as values, and as CSV and JSON text."""

import copy
import pickle

import pytest
from cv_strategies import SETS
from hypothesis import given
from hypothesis import strategies as st

from dccwire.cv import (
    CvKey,
    CvSet,
    DecoderKind,
    IndexedCv,
    difference,
    from_csv,
    from_json,
    key_from_text,
    to_csv,
    to_json,
)
from dccwire.cv.cv_set import key_order
from dccwire.errors import CallError, FieldError, Reason, ShapeError, TextError
from refusals import refused


@given(SETS)
def test_sets_are_values(cvs: CvSet) -> None:
    """Equal by content, in whatever order it came; hashable, picklable, a mapping."""
    again = CvSet(reversed(list(cvs.items())))
    assert again == cvs
    assert hash(again) == hash(cvs)
    assert list(again) == list(cvs)
    assert pickle.loads(pickle.dumps(cvs)) == copy.copy(cvs) == cvs
    assert dict(cvs) == {key: cvs[key] for key in cvs}
    assert len(cvs) == len(dict(cvs))
    assert (cvs == dict(cvs)) is False
    assert eval(repr(cvs), {"CvSet": CvSet, "IndexedCv": IndexedCv}) == cvs


def test_sets_without_some_cvs() -> None:
    """Whether they have them or not."""
    assert CvSet({1: 3, 7: 12, 8: 99}).without(7, 8, 9) == CvSet({1: 3})


def test_sets_cannot_be_changed() -> None:
    """Neither their CVs nor their attributes."""
    cvs = CvSet({1: 3})
    with pytest.raises(TypeError):
        cvs[1] = 4  # type: ignore[index] # the point of the test
    with pytest.raises(AttributeError):
        cvs._values = {}  # type: ignore[misc] # the point of the test
    assert CvSet() == CvSet([])


@given(SETS, st.sampled_from([",", ";"]), st.sampled_from([None, *DecoderKind]))
def test_csv_goes_both_ways(cvs: CvSet, separator: str, decoder: DecoderKind | None) -> None:
    """With commas or semicolons, with names as comments or without."""
    assert from_csv(to_csv(cvs, separator=separator, decoder=decoder)) == cvs


@given(SETS)
def test_json_goes_both_ways(cvs: CvSet) -> None:
    """In one line."""
    assert from_json(to_json(cvs)) == cvs
    assert "\n" not in to_json(cvs)


def test_csv_is_read_as_spreadsheets_write_it() -> None:
    """A mark at the start, quotes, blanks, capitals, blank lines, separators in comments."""
    text = '\ufeff"CV"; Value ;Comment\r\n\r\n"1"; 3 ;"first; and last"\r\n257;7\r\n'
    assert from_csv(text) == CvSet({1: 3, 257: 7})
    text = '"Index_high"; index_low;CV; Value ;Comment\r\n;;"1"; 3 ;"a; b"\r\n16;"0";257;7\r\n'
    assert from_csv(text) == CvSet({1: 3, IndexedCv(16, 0, 257): 7})
    assert from_csv("cv,value\n5,6,\n") == CvSet({5: 6})


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("", "no header"),
        ("29,38\n", "no header"),
        ("cv\n29\n", "no header"),
        ("cv,value\n\n29\n", "line 3: 2 columns expected"),
        ("cv,value\n29,38,x\n", "line 2: 2 columns expected"),
        ("cv,value,comment\n29\n", "line 2: 3 columns expected"),
        ("cv,value\n29,6\n3,1\n29,38\n", "line 4: CV 29 again, first on line 2"),
        ("cv,value\n29,6\n29,6\n", "line 3: CV 29 again, first on line 2"),
    ],
)
def test_csv_that_cannot_be_read_names_the_line(text: str, problem: str) -> None:
    """And what would help."""
    with refused(TextError, Reason.TEXT, f", position [0-9]+: {problem}.*; .+"):
        from_csv(text)


@pytest.mark.parametrize(
    ("line", "field", "value"),
    [
        ("0,3", "line 2, cv", 0),
        ("1025,3", "line 2, cv", 1025),
        ("x,3", "line 2, cv", "x"),
        ("16.0.257,3", "line 2, cv", "16.0.257"),
        ("29,256", "CV 29, line 2", 256),
        ("29,-1", "CV 29, line 2", "-1"),
        ("29,", "CV 29, line 2", ""),
    ],
)
def test_csv_values_out_of_bounds_name_the_line(line: str, field: str, value: object) -> None:
    """Field, bound and value."""
    with refused(FieldError, field=field, value=value):
        from_csv(f"cv,value\n{line}\n")


@pytest.mark.parametrize(
    ("line", "field", "value"),
    [
        ("15,0,257,3", "high", 15),
        ("16,256,257,3", "low", 256),
        ("16,0,256,3", "indexed cv", 256),
        ("16,0,513,3", "indexed cv", 513),
        ("16,,257,3", "line 2, index", ""),
        (",,x,3", "line 2, cv", "x"),
        ("16,0,257,256", "index 16 0, CV 257, line 2", 256),
    ],
)
def test_csv_of_index_pages_has_columns_of_their_own(line: str, field: str, value: object) -> None:
    """CV 31, CV 32 and the number, each within its bounds."""
    with refused(FieldError, field=field, value=value):
        from_csv(f"index_high,index_low,cv,value\n{line}\n")


@pytest.mark.parametrize(
    ("text", "path"),
    [
        ("{", "CV set"),
        ("[]", "CV set"),
        ('{"cvs": {}, "more": 1}', "CV set"),
        ('{"cvs": [1]}', "cvs"),
        ('{"cvs": {"29": "38"}}', "cvs.29"),
        ('{"cvs": {"29": true}}', "cvs.29"),
        ('{"cvs": {"29": NaN}}', "CV set"),
        ('{"cvs": {"29": Infinity}}', "CV set"),
        ('{"cvs": ' + "[" * 50000, "CV set"),
        ('{"indexed": []}', "CV set"),
        ('{"cvs": {}, "indexed": {}}', "indexed"),
        ('{"cvs": {}, "indexed": [[]]}', "indexed[0]"),
        ('{"cvs": {}, "indexed": [{"high": 16, "low": 0, "cv": 257}]}', "indexed[0]"),
        (
            '{"cvs": {}, "indexed": [{"high": 16, "low": 0, "cv": 257, "value": "7"}]}',
            "indexed[0].value",
        ),
    ],
)
def test_json_of_another_shape_names_the_path(text: str, path: str) -> None:
    """What was expected there stands beside it."""
    with refused(ShapeError, path=path):
        from_json(text)


def test_a_cv_twice_is_refused() -> None:
    """In pairs, and in JSON, however its number is written; plain and indexed on its own page."""
    for make in (
        lambda: CvSet([(29, 6), (29, 6)]),
        lambda: from_json('{"cvs": {"29": 6, "29": 38}}'),
        lambda: from_json('{"cvs": {"29": 6, "029": 38}}'),
    ):
        with refused(FieldError, field="CV 29", bound="one value"):
            make()
    for wrong, bound in (
        ({0: 1}, "1 to 1024"),
        ({1025: 1}, "1 to 1024"),
        ({"1": 1}, "1 to 1024"),
        ({1: 256}, "0 to 255"),
        ({IndexedCv(16, 0, 257): -1}, "0 to 255"),
    ):
        with refused(FieldError, bound=bound):
            CvSet(wrong)
    page = {31: 16, 32: 0}
    with refused(FieldError, match="it is index 16 0, CV 300", field="CV 300", value=1):
        from_csv("index_high,index_low,cv,value\n,,31,16\n,,32,0\n,,300,1\n16,0,300,1\n")
    with refused(FieldError, match="index 16 0, CV 300"):
        _ = CvSet({**page, 300: 1}) | {IndexedCv(16, 0, 300): 2}
    for right in ({32: 0}, {**page, 32: 1}, {31: 17, 32: 0}):
        assert len(CvSet({**right, 300: 1, IndexedCv(16, 0, 300): 2})) == len(right) + 2
    with refused(FieldError, match="separator"):
        to_csv(CvSet(), separator="\t")
    with refused(FieldError, match="such as 29"):
        key_from_text("1.2")
    for wrong in ("16.0.257", "index 16 0, CV", "index 16 0 257", "index 16 0, CV 2.5"):
        with refused(FieldError, match="index 16 0, CV 257"):
            key_from_text(wrong)
    assert key_from_text(str(IndexedCv(255, 3, 512))) == IndexedCv(255, 3, 512)


@given(SETS, SETS)
def test_differences_are_what_one_set_must_change(old: CvSet, new: CvSet) -> None:
    """None where a set does not have the CV; nothing between equal sets."""
    changes = difference(old, new)
    assert difference(old, old) == ()
    rebuilt: dict[CvKey, int] = {**old}
    for one in changes:
        assert rebuilt.pop(one.key, None) == one.old
        if one.new is not None:
            rebuilt[one.key] = one.new
    assert CvSet(rebuilt) == new
    assert [one.key for one in changes] == sorted((one.key for one in changes), key=key_order)
    assert len({one.key for one in changes}) == len(changes)


@pytest.mark.parametrize("digits", ["9" * 10, "9" * 5000, "0" * 5000])
def test_numbers_of_many_digits_are_refused_as_others(digits: str) -> None:
    """As errors of ours, that do not print them all."""
    for make in (
        lambda: key_from_text(digits),
        lambda: key_from_text(f"index 16 {digits}, CV 257"),
        lambda: from_csv(f"cv,value\n{digits},3\n"),
        lambda: from_csv(f"cv,value\n3,{digits}\n"),
        lambda: from_json(f'{{"cvs": {{"{digits}": 3}}}}'),
        lambda: from_json(f'{{"cvs": {{"3": 1{digits}}}}}'),
    ):
        with pytest.raises(CallError) as caught:
            make()
        assert len(str(caught.value)) < 400
