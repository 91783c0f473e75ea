"""The JSON of reports keeps its schema, by a validator of others."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from conformance_helpers import edges_of, judge, lengths_of, result
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from dccwire.conformance import (
    RULES,
    Expectation,
    Force,
    Histogram,
    Report,
    RuleResult,
    Session,
    Verdict,
    check,
)
from report_schema import PATH, REPORT_SCHEMA
from vector_schemas import written

RECORDINGS = sorted((Path(__file__).parents[2] / "vectors/recordings").glob("*.vcd"))
VALIDATOR = Draft202012Validator(REPORT_SCHEMA)


def wrong(report: Report) -> list[str]:
    """What a validator has against the lines of a report, as a reader of JSON gets them."""
    lines = [json.loads(json.dumps(line)) for line in report.to_dicts()]
    return [error.message for line in lines for error in VALIDATOR.iter_errors(line)]


def test_the_file_is_what_the_code_makes() -> None:
    """`python tests/report_schema.py` writes it anew; it is a schema itself."""
    assert PATH.read_text("utf-8") == written(REPORT_SCHEMA)
    Draft202012Validator.check_schema(REPORT_SCHEMA)


@pytest.mark.parametrize("path", RECORDINGS, ids=lambda path: path.stem)
def test_shipped_recordings_give_valid_lines(path: Path) -> None:
    """Every rule, at the file's resolution and at 1 us, where more is undecided."""
    for resolution in (None, 1000):
        report = check(path, resolution_ns=resolution)
        assert not wrong(report)
        assert [line["rule"] for line in list(report.to_dicts())[:-1]] == sorted(RULES)


def test_expectations_give_valid_lines() -> None:
    """Met and unmet."""
    session = Session(expectations=(Expectation(), Expectation(at_least=99)))
    report = check([edges_of(lengths_of("FF 00 FF"))], resolution_ns=1000, session=session)
    assert [one.verdict for one in report.expectations] == [Verdict.PASS, Verdict.FAIL]
    assert not wrong(report)


times = st.integers(0, 10**12)
results = st.builds(
    RuleResult,
    rule=st.sampled_from(list(RULES.values())),
    verdict=st.sampled_from(Verdict),
    worst=st.text(),
    measured=times,
    failed=times,
    undecided=times,
    first_times_ns=st.lists(times, max_size=5).map(tuple),
    note=st.text(),
    force=st.none() | st.sampled_from(Force),
    nearest_ns=st.none() | times,
    reading=st.none() | times,
)


@given(
    some=st.lists(results, max_size=4).map(tuple),
    halves=st.lists(st.integers(4_000, 300_000), max_size=60),
    source=st.text(),
    notes=st.lists(st.text(), max_size=2).map(tuple),
    stopped=st.booleans(),
)
def test_any_report_gives_valid_lines(
    some: tuple[RuleResult, ...],
    halves: list[int],
    source: str,
    notes: tuple[str, ...],
    stopped: bool,
) -> None:
    """Whatever was found, and whatever the half-bits are."""
    report = judge([*halves, *lengths_of("03 3F 3C")], rules=None)
    assert not wrong(report)
    assert not wrong(
        replace(report, results=some, source=source, notes=notes, stopped=stopped, not_judged=3)
    )


@pytest.mark.parametrize("name", ["rule", "verdict", "first_times_ns", "worst_ns", "limit"])
def test_a_line_that_lacks_something_is_refused(name: str) -> None:
    """The schema asks for all of it, and for numbers as numbers."""
    line = result(judge(lengths_of("03 3F 3C")), 1).to_dict()
    assert VALIDATOR.is_valid(line)
    assert not VALIDATOR.is_valid({key: line[key] for key in line if key != name})
    assert not VALIDATOR.is_valid({**line, "worst_ns": "58 us"})
    assert not VALIDATOR.is_valid({**line, "more": 1})


def test_limits_and_readings_are_numbers() -> None:
    """Of times in ns, of counts with what is counted; a limit in words has none."""
    halves = lengths_of("03 3F 3C", "03 3F 3D", "03 3F 3C", preamble=13)
    halves[30:32] = [60_600, 60_600]
    report = judge(halves)
    one, preamble, check_ = (result(report, number).to_dict() for number in (1, 14, 16))
    assert (one["limit_least_ns"], one["limit_most_ns"]) == (55_000, 61_000)
    assert (one["worst_ns"], one["worst"], one["nearest_ns"]) == (60_600, "60.6 us", 400)
    assert (preamble["counted"], preamble["limit_least_count"]) == ("ones", 14)
    assert (preamble["limit_most_count"], preamble["worst_count"]) == (None, 14)
    assert not [key for key in check_ if "count" in key or key == "worst_ns"]


def test_a_report_of_nothing_is_valid() -> None:
    """No rule, no packet, no half-bit."""
    assert not wrong(Report((), "", 1, "", 0, 0, 0, 0, Histogram()))
