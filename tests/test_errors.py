"""The tree of exceptions: reasons, blame, data that survives pickling."""

import pickle
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dccwire import errors
from dccwire.errors import Reason
from refusals import refused

EXAMPLES = [
    ("field", errors.FieldError("cv", "1 to 1024", 0)),
    ("layout", errors.LayoutError("1", "too short")),
    ("combination", errors.PacketError("no", "yes")),
    ("hex", errors.TextError(Reason.HEX, "3", 0, "odd", "even")),
    ("shape", errors.ShapeError("a.b", "an integer", "x" * 100)),
    ("length", errors.LengthError(7)),
    ("error-byte", errors.ErrorByteError(1, 2)),
    ("time", errors.RecordingError(Reason.TIME, "a.csv", "time runs backwards", "line 7")),
    ("file", errors.RecordingError(Reason.FILE, "a.csv", "no such file", "", "check the name")),
    ("missing-part", errors.MissingPartError("numpy", "capture")),
    ("unconfirmed", errors.ConfirmationError("CV 29", 38, "verify of 38")),
]


@pytest.mark.parametrize(("reason", "error"), EXAMPLES)
def test_errors_carry_data_and_fit_one_line(reason: str, error: errors.DccwireError) -> None:
    """A reason, one line, the same after pickling; the caller's alone are ValueErrors."""
    assert error.reason is Reason(reason)
    assert "\n" not in str(error)
    assert len(str(error)) < 200
    again = pickle.loads(pickle.dumps(error))
    assert vars(again) == vars(error)
    assert str(again) == str(error)
    assert isinstance(error, ValueError) is isinstance(error, errors.CallError)


@pytest.mark.parametrize(
    ("error", "told"),
    [
        (FileNotFoundError(2, "No such"), "a.csv: No such; check the path and the folder"),
        (PermissionError(13, "Denied"), "a.csv: Denied; check its permissions"),
        (OSError(5, "Input/output error"), "a.csv: Input/output error"),
        (OSError("of another kind"), "a.csv: of another kind"),
    ],
)
def test_what_the_system_says_comes_with_help_where_there_is_some(error, told: str) -> None:
    """Its words, and the path."""
    made = errors.RecordingError.of_system("a.csv", error)
    assert (made.reason, str(made)) == (Reason.FILE, told)


def test_every_class_has_an_example_here() -> None:
    """A new error does not slip by these tests."""
    classes = {getattr(errors, name) for name in errors.__all__} - {Reason}
    bases = {errors.DccwireError, errors.CallError, errors.DecodeError}
    assert {type(error) for _, error in EXAMPLES} == classes - bases


@pytest.mark.parametrize(
    ("failure", "error", "told"),
    [
        (errors.LengthError, errors.FieldError, {}),
        (AssertionError, errors.DecodeError, {"reason": Reason.LENGTH}),
        (AssertionError, errors.LengthError, {"reason": Reason.HEX}),
        (AssertionError, errors.LengthError, {"match": "7 given"}),
        (AssertionError, errors.LengthError, {"actual": 7}),
        (AssertionError, errors.LengthError, {"actual": 2.0}),
        (AttributeError, errors.LengthError, {"expected": 3}),
    ],
)
def test_another_refusal_fails_the_test_that_awaits_one(failure, error, told) -> None:
    """Another class, a class above it, another reason, message, datum, type, or no such datum."""
    with pytest.raises(failure), refused(error, **told):
        raise errors.LengthError(2)


def test_no_refusal_and_one_without_a_reason_fail_the_test() -> None:
    """Nothing raised, and a class of many reasons of which none is given."""
    with pytest.raises(pytest.fail.Exception), refused(errors.FieldError):
        pass
    with pytest.raises(AttributeError), refused(errors.TextError):
        raise errors.TextError(Reason.HEX, "3", 0, "odd", "even")


def test_long_text_is_cut_short_in_the_message() -> None:
    """The whole of it stays in the attribute."""
    error = errors.TextError(Reason.BITS, "0" * 100, 9, "no bit", "write 0 and 1")
    assert str(error).startswith("'" + "0" * 55 + "'..., position 9: no bit")
    assert str(errors.FieldError("a", "b", "x" * 58)) == f"a: b expected, '{'x' * 58}' given"
    assert str(errors.FieldError("a", "b", "x" * 59)) == f"a: b expected, '{'x' * 55}'... given"
    assert "thousands of digits" in str(errors.FieldError("cv", "1 to 1024", 10**5000))
    assert error.text == "0" * 100
    deep: list = []
    for _ in range(10_000):
        deep = [deep]
    assert "nested too deep to show" in str(errors.ShapeError("packet", "an object", deep))
    assert len(str(errors.PacketError("x" * 500_000, "yes"))) < 200


@given(st.integers(0, 300), st.integers(0, 300))
def test_a_long_text_is_quoted_around_the_place(before: int, after: int) -> None:
    """What is wrong shows, and dots stand where something is left out."""
    text = "a" * before + "!" + "b" * after
    quoted = str(errors.TextError(Reason.TEXT, text, before, "no", "yes")).partition(",")[0]
    assert "!" in quoted
    assert len(quoted) <= 63
    head, inside, tail = quoted.split("'")
    assert {head, tail} <= {"", "..."}
    assert (head == "", tail == "") == (text.startswith(inside), text.endswith(inside))


def test_reasons_have_meanings_and_codes_of_their_own() -> None:
    """Codes are kebab-case words; each has a sentence."""
    for reason in Reason:
        assert reason.value == reason.name.lower().replace("_", "-")
        assert len(reason.meaning) > 10


def test_the_page_of_reasons_lists_them_all() -> None:
    """`docs/reasons.md` has each code with its meaning, in the order of the code, and no other."""
    page = (Path(__file__).parent.parent / "docs" / "reasons.md").read_text("utf-8")
    rows = [line for line in page.splitlines() if line.startswith("| `")]
    assert rows == [f"| `{reason.value}` | {reason.meaning} |" for reason in Reason]
