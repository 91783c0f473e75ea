"""A session as a TOML file has it, and a report as JUnit XML."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from xml.etree import ElementTree

import pytest
from conformance_helpers import PLAIN, edges_of, judge, lengths_of

from dccwire import AccessoryAddress, ExtendedAccessoryAddress, LongAddress, ShortAddress
from dccwire.conformance import Expectation, Locomotive, Session, check, junit_of, read_session
from dccwire.conformance.session import Access
from dccwire.errors import FieldError, Reason, RecordingError, ShapeError, TextError
from refusals import refused

MORNING = Path(__file__).parents[2] / "vectors/recordings/harbour-morning.vcd"

WHOLE = """
programming_track = false
consists = [7, 100]
every_30_ms = true
power_on_s = [0, 1.5]
new = true
access = "address-only"
accessories = ["accessory 31", "extended-accessory 120"]

[[locomotive]]
address = "short 3"
steps = 28
consist = 7

[[locomotive]]
address = "long 1205"

[[expect]]
to = "short 3"
what = "F2=on"
from_s = 2
until_s = 3.25
at_least = 2

[[expect]]
to = "short 5"
at_least = 0
at_most = 0
"""


def test_a_session_file_says_what_no_recording_shows(tmp_path: Path) -> None:
    """Every key; what is left out is not known."""
    path = tmp_path / "a.toml"
    path.write_text(WHOLE)
    wanted = Expectation(ShortAddress(3), "F2=on", 2, None, 2 * 10**9, 3_250_000_000)
    nothing = Expectation(ShortAddress(5), at_least=0, at_most=0)
    expected = Session(
        programming_track=False,
        consists=frozenset({7, 100}),
        every_30_ms=True,
        power_on_ns=(0, 1_500_000_000),
        new=True,
        access=Access.ADDRESS_ONLY,
        expectations=(wanted, nothing),
        locomotives=(Locomotive(ShortAddress(3), 28, 7), Locomotive(LongAddress(1205))),
        accessories=(AccessoryAddress(31), ExtendedAccessoryAddress(120)),
    )
    assert read_session(path) == read_session(str(path)) == expected
    path.write_text("")
    assert read_session(path) == Session() == Session.from_dict({})


@pytest.mark.parametrize(
    ("plain", "path", "expected", "hint"),
    [
        ({"consist": [7]}, "consist", "a known key", "perhaps consists"),
        ({"zzz": 1}, "zzz", "a known key", None),
        ({"access": "page"}, "access", "direct, address-only, register or paged", ""),
        ({"access": 3}, "access", "direct, address-only, register or paged", ""),
        ({"access": []}, "access", "direct, address-only, register or paged", ""),
        (
            {"expect": [{"what": "Idle"}, {"untill_s": 3}]},
            "expect[1].untill_s",
            "a known key",
            "perhaps until_s",
        ),
        ({"expect": {}}, "expect", "a list", "a table in it begins with [[expect]]"),
        ({"expect": [3]}, "expect[0]", "a table", ""),
        ({"new": "yes"}, "new", "true or false", ""),
        ({"new": 1}, "new", "true or false", ""),
        ({"consists": 7}, "consists", "a list", ""),
        ({"consists": [7, True]}, "consists[1]", "a whole number", ""),
        ({"power_on_s": [-0.1]}, "power_on_s[0]", "seconds, 0 or more", ""),
        ({"power_on_s": [float("nan")]}, "power_on_s[0]", "seconds, 0 or more", ""),
        ({"power_on_s": [1e9]}, "power_on_s[0]", "seconds, 0 or more", ""),
        ({"power_on_s": [True]}, "power_on_s[0]", "seconds, 0 or more", ""),
        ({"expect": [{"to": 3}]}, "expect[0].to", "a text", ""),
        ({"expect": [{"at_least": 1.5}]}, "expect[0].at_least", "a whole number", ""),
        ([], "session", "a table", ""),
        ({"expect": []}, "expect", "a table or more", "leave the key out"),
        ({"expect": [{}]}, "expect[0]", None, ""),
        ({"expect": [{"from_s": 2, "until_s": 1}]}, "expect[0].until_s", "from_s or later", ""),
        (
            {"locomotive": {"address": "short 3"}},
            "locomotive",
            "a list",
            "a table in it begins with [[locomotive]]",
        ),
        ({"locomotive": [{"steps": 28}]}, "locomotive[0]", "a key address", ""),
        ({"locomotive": [{"step": 28}]}, "locomotive[0].step", "a known key", "perhaps steps"),
        ({"locomotive": [{"address": 3}]}, "locomotive[0].address", "a text", ""),
        ({"accessories": "accessory 3"}, "accessories", "a list", ""),
    ],
)
def test_what_is_no_session_is_told_with_its_key(
    plain: object, path: str, expected: str | None, hint: str | None
) -> None:
    """And, of a key that is not known, the nearest that is; or all."""
    expected = expected or "to, what, packet, at_least, at_most, from_s or until_s"
    with refused(ShapeError, path=path, expected=expected) as caught:
        Session.from_dict(plain)
    if hint is not None:
        assert caught.value.hint == hint
    else:
        assert "known are programming_track, consists" in str(caught.value)


def test_values_that_a_session_cannot_have() -> None:
    """An address that is none, an instruction that is none, a consist outside of 1 to 127."""
    with refused(TextError, Reason.TEXT):
        Session.from_dict({"expect": [{"to": "loco 3"}]})
    with refused(TextError, Reason.TEXT):
        Session.from_dict({"expect": [{"what": "Sped"}]})
    with refused(FieldError, field="short address", bound="1 to 127", value=128):
        Session.from_dict({"consists": [128]})


@pytest.mark.parametrize(
    ("plain", "told", "where"),
    [
        ({"locomotive": [{"address": "loco 3"}]}, "loco", "in locomotive[0].address"),
        ({"locomotive": [{"address": "accessory 3"}]}, "a short or a long", "in locomotive[0]"),
        (
            {"locomotive": [{"address": "short 3", "steps": 27}]},
            "steps: 14, 28 or 128 expected, 27 given",
            "in locomotive[0]",
        ),
        ({"locomotive": [{"address": "short 3", "consist": 128}]}, "1 to 127", "in locomotive[0]"),
        ({"accessories": ["short 3"]}, "an accessory decoder", "in accessories"),
        ({"accessories": ["accessory 512"]}, "0 to 511", "in accessories"),
        ({"consists": [0]}, "1 to 127", "in consists"),
        ({"expect": [{"to": "short 128"}]}, "1 to 127", "in expect[0].to"),
        ({"expect": [{"what": "Sped"}]}, "no instruction 'Sped'", "in expect[0]"),
        ({"expect": [{"packet": "idle"}]}, "idle", "in expect[0].packet"),
        ({"expect": [{"at_least": 2, "at_most": 1}]}, "at_most: 2 or more", "in expect[0]"),
    ],
)
def test_where_a_value_stands_that_cannot_be(
    plain: object, told: str, where: str, tmp_path: Path
) -> None:
    """What is wrong of itself says which key has it, and a file which it is."""
    with pytest.raises((FieldError, TextError), match=re.escape(told)) as caught:
        Session.from_dict(plain)
    (note,) = caught.value.__notes__
    assert note.startswith(where)


@pytest.mark.parametrize(
    "twice",
    [
        {"locomotive": [{"address": "short 3"}, {"address": "short 3", "steps": 28}]},
        {"accessories": ["accessory 3", "accessory 3"]},
    ],
)
def test_an_address_is_described_once(twice: object) -> None:
    """Two descriptions of one would contradict each other, or say nothing more."""
    with refused(FieldError, bound="an address once"):
        Session.from_dict(twice)


def test_which_addresses_are_in_use() -> None:
    """Locomotives, accessories, and consists, if the session says of locomotives or accessories."""
    three = Locomotive(ShortAddress(3), consist=7)
    both = Session(
        locomotives=(three,), accessories=(AccessoryAddress(31),), consists=frozenset({9})
    )
    assert both.consists_in_use == {7, 9}
    consists = ShortAddress(7), ShortAddress(9)
    assert both.in_use == {ShortAddress(3), AccessoryAddress(31), *consists}
    assert Session(locomotives=(three,)).consists_in_use == {7}
    alone = Session(locomotives=(Locomotive(ShortAddress(3)),))
    assert (alone.consists_in_use, alone.in_use) == (None, {ShortAddress(3)})
    assert Session(consists=frozenset()).consists_in_use == frozenset()
    assert Session(consists=frozenset({9})).in_use == frozenset()


@pytest.mark.parametrize(
    ("content", "told"),
    [
        ("new = true\na = ", "at line 2, the last"),
        ("new = true\n\na = b\nnew = true", "line 3"),
        ("consist = [7]", "consist: a known key expected, [7] given; perhaps consists"),
        ('[[locomotive]]\naddress = "loco 3"', "in locomotive[0].address; line 2 of "),
        ("[[expect]]", "expect[0]"),
        (
            '[[expect]]\nfrom_s = 9999\nto = "short 3"',
            "9999.0 given; the recording ends there, before short 3, 1 or more, 9999 s to the end",
        ),
        ('[[locomotive]]\naddress="short 3"\n[[locomotive]]\naddress="short 3"', "once"),
    ],
)
def test_at_the_command_line_it_is_one_line(
    run: Callable[..., tuple[int, str, str]], tmp_path: Path, content: str, told: str
) -> None:
    """What, where, which file, and exit status 2."""
    path = tmp_path / "a.toml"
    path.write_text(content)
    status, out, err = run("check", str(MORNING), "--session", str(path))
    assert (status, out, err.count("\n")) == (2, "", 1)
    assert told in err
    assert ("9999" in content) or (str(path) in err)


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (("--session", "a", "--session", "b"), "--session: once expected, b given, too"),
        (("--rules", "95"), "rules: numbers of rules"),
        (("--rules", "1-x"), "rules: numbers and ranges such as 1-5,14 expected"),
    ],
)
def test_options_that_cannot_be(
    run: Callable[..., tuple[int, str, str]], options: tuple[str, ...], told: str
) -> None:
    """One line, too."""
    status, out, err = run("check", str(MORNING), *options)
    assert (status, out, err.count("\n")) == (2, "", 1)
    assert told in err


@pytest.mark.parametrize(
    ("content", "reason", "told"),
    [
        (None, Reason.FILE, "No such file"),
        (b"a = \n", Reason.FORMAT, "is no TOML"),
        (b"\xff\xfe", Reason.FORMAT, "is no TOML"),
    ],
)
def test_a_session_file_that_cannot_be_read(
    content: bytes | None, reason: Reason, told: str, tmp_path: Path
) -> None:
    """Missing, or no TOML."""
    path = tmp_path / "a.toml"
    if content is not None:
        path.write_bytes(content)
    with refused(RecordingError, reason, told):
        read_session(path)


def test_junit_has_a_case_a_rule_and_an_expectation() -> None:
    """What counts as not well fails; what was not judged is skipped; the text stands below."""
    halves = lengths_of(PLAIN, "033F3D", PLAIN, preamble=13)
    halves[27] = 95_400
    expected = Expectation(ShortAddress(5), at_least=0, at_most=0), Expectation(ShortAddress(5))
    report = check([edges_of(halves)], resolution_ns=1000, session=Session(expectations=expected))
    suite = ElementTree.fromstring(junit_of(report))
    cases = {case.get("name", ""): [part.tag for part in case] for case in suite.iter("testcase")}
    assert cases["rule 1: each half of a 1"] == []
    assert cases["rule 3: each half of a 0"] == ["skipped"]
    assert cases["rule 13: gaps within packets and their preambles"] == ["skipped"]
    assert cases["rule 16: exclusive OR of all bytes"] == ["failure"]
    assert cases["short 5, none, 0 s to the end"] == ["skipped"]  # the wrong one may be one
    assert cases["short 5, 1 or more, 0 s to the end"] == ["skipped"]
    tags = [tag for tags in cases.values() for tag in tags]
    assert suite.attrib == {
        "name": "dccwire check edges",
        "errors": "0",
        "tests": str(len(cases)),
        "time": "0.018",
        "failures": str(tags.count("failure")),
        "skipped": str(tags.count("skipped")),
    }
    failure = suite.find("testcase/failure")
    assert failure is not None
    assert failure.get("message") == (
        "0; 1 of 3 failed, at 7.490 ms, the first [03 3F 3D]; S-9.2 §B; S-9.2.1 §C"
    )
    assert suite.findtext("system-out") == report.text()


def test_junit_counts_by_the_options_of_check() -> None:
    """Derived rules fail when strict, and undecided ones when certainty is asked for."""
    halves = lengths_of("EA 40 AA", PLAIN)
    halves[29] = 95_400
    report = judge(halves)

    def failing(**options: bool) -> set[str]:
        suite = ElementTree.fromstring(junit_of(report, **options))
        cases = suite.iter("testcase")
        return {
            case.get("name", "").split(":")[0] for case in cases if case.find("failure") is not None
        }

    assert failing() == set()
    assert failing(strict=True) == {"rule 28"}
    assert failing(certain=True) == {"rule 3", "rule 28"}
    assert failing(strict=True, certain=True) == {"rule 3", "rule 28"}


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("consists = " + "[" * 5000, "is no TOML: maximum recursion depth"),
        ("consists = [" + "9" * 4301 + "]", "is no TOML: Exceeds the limit"),
    ],
)
def test_a_file_that_is_too_much_for_the_reader_is_no_session(
    text: str, told: str, tmp_path: Path
) -> None:
    """With the file, in one line."""
    path = tmp_path / "session.toml"
    path.write_text(text)
    with pytest.raises(RecordingError, match=told):
        read_session(path)


def test_a_mark_of_the_byte_order_is_no_fault(tmp_path: Path) -> None:
    """Some editors write one."""
    path = tmp_path / "session.toml"
    path.write_text("consists = [7]", "utf-8-sig")
    assert read_session(path).consists == {7}
