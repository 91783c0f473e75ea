"""The XML of a report: valid by a validator of others, whatever names and notes hold."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest
from conformance_helpers import HOSTILE, judge, lengths_of
from hypothesis import given
from hypothesis import strategies as st
from xmlschema import XMLSchema11

from dccwire.conformance import RULES, Expectation, Report, Session, Verdict, check, junit_of
from dccwire.wording import printable

ROOT = Path(__file__).parents[2]
SCHEMA = XMLSchema11(str(ROOT / "tests/junit.xsd"))
RECORDINGS = sorted((ROOT / "vectors/recordings").glob("*.vcd"))


def wrong(report: Report, **options: bool) -> list[str]:
    """What the validator has against the XML, as it is written to a file."""
    written = junit_of(report, **options).encode()
    return [str(error) for error in SCHEMA.iter_errors(ElementTree.fromstring(written))]


@pytest.mark.parametrize("path", RECORDINGS, ids=lambda path: path.stem)
def test_shipped_recordings_give_valid_xml(path: Path) -> None:
    """With all ways of counting, and with expectations, two of which are the same."""
    expected = Expectation(), Expectation(at_least=999), Expectation(at_least=999)
    report = check(path, session=Session(expectations=expected))
    for options in ({}, {"strict": True}, {"certain": True}):
        assert not wrong(report, **options)


@pytest.mark.parametrize("name", HOSTILE, ids=range(len(HOSTILE)))
def test_hostile_names_are_text(name: str) -> None:
    """What XML cannot hold is spelled out; the rest comes back as it was given."""
    some = judge(lengths_of("03 3F 3C"))
    results = tuple(replace(one, note=name) for one in some.results)
    report = replace(some, source=name, notes=(name,), resolution_source=name, results=results)
    assert not wrong(report)
    suite = ElementTree.fromstring(junit_of(report).encode())
    assert suite.get("name") == f"dccwire check {printable(name)}"
    assert {part.tag for case in suite.iter("testcase") for part in case} == {"skipped"}


def outcomes(report: Report, **options: bool) -> dict[str, str]:
    """What became of each case that did not pass, by its name."""
    assert not wrong(report, **options)
    suite = ElementTree.fromstring(junit_of(report, **options).encode())
    assert suite.get("failures") == str(len(suite.findall(".//failure")))
    return {
        str(case.get("name")): f"{part.tag}: {part.get('message')}"
        for case in suite.iter("testcase")
        for part in case
    }


def test_what_fails_without_counting_is_no_passed_case() -> None:
    """A rule that is derived is skipped with its words; strictly it fails."""
    report = judge(lengths_of("03 3F 3C", "03 04 07"), rules=[30])
    assert (report.verdict, report.well(), report.well(strict=True)) == (Verdict.FAIL, True, False)
    name = f"rule 30: {RULES[30].quantity}"
    assert outcomes(report)[name].startswith("skipped: fail: ")
    assert outcomes(report)[name].endswith("; of no 'shall', but derived")
    assert outcomes(report, strict=True)[name].startswith("failure: ")


def test_the_recording_is_a_case() -> None:
    """Without a packet it fails; where half-bits were not judged, or none of the rules was, too."""
    ones = judge([58_000] * 300)
    assert outcomes(ones)["what was read"] == "failure: no packet was read in edges"
    idle = lengths_of("FF 00 FF")
    others = judge([*idle, *[300_000, 70_000] * 8, *idle, *idle])
    told = "half-bits of no packet, which no rule judged"
    assert told in outcomes(others)["what was read"]
    assert outcomes(others)["what was read"].startswith("skipped: undecided: ")
    assert outcomes(others, certain=True)["what was read"].startswith("failure: ")
    assert (others.well(), others.well(certain=True)) == (True, False)
    unjudged = judge(idle * 3, rules=[49])
    assert "what was read" not in outcomes(unjudged)
    assert outcomes(unjudged, certain=True)["what was read"].startswith(
        "failure: none of the rules passed"
    )
    assert (unjudged.well(), unjudged.well(certain=True)) == (True, False)
    assert "what was read" not in outcomes(judge(idle * 3), certain=True)
    stopped = replace(judge(idle * 3), stopped=True)
    assert outcomes(stopped)["what was read"].startswith("skipped: undecided: judged in part")
    assert outcomes(stopped, certain=True)["what was read"] == "failure: judged in part"
    assert (stopped.well(), stopped.well(certain=True)) == (True, False)


@given(st.text(st.characters(codec=None)))
def test_any_name_is_text(name: str) -> None:
    """Surrogates too."""
    assert not wrong(replace(judge([58_000] * 3), source=name, notes=(name,)))


def test_the_schema_refuses_what_is_wrong() -> None:
    """An attribute that is missing, a count that is none, a case twice."""
    text = junit_of(judge(lengths_of("03 3F 3C")))
    case = text[text.index("<testcase") : text.index("<testcase", text.index("<testcase") + 1)]
    for old, new in (
        (' errors="0"', ""),
        ('errors="0"', 'errors="none"'),
        (' classname="S-9.1"', ""),
        (case, case * 2),
        ("<system-out>", "<system-err/><system-out>"),
    ):
        assert old in text
        assert not SCHEMA.is_valid(ElementTree.fromstring(text.replace(old, new, 1)))
