"""Findings gathered into causes: what follows from another is told with it, and nothing hides."""

from __future__ import annotations

import json
from graphlib import TopologicalSorter
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from test_conformance_faults import FAULTS, PLAN, failing, judged

from dccwire.conformance import RULES, RuleResult, Session, Verdict, check, html_of, junit_of
from dccwire.conformance.causes import _LINKS, causes_of
from dccwire.conformance.measures import FIRST_TIMES
from dccwire.faults import PLANTINGS, plant
from dccwire.signal import Timing
from dccwire.synthesis import Sending, synthesize

SHORT = Sending(bytes.fromhex("FF00FF"), 16)
TWO_FAULTS = {
    # A recovery that is short for certain stands behind a write that was sent but once.
    **{"short-recovery": {57}, "packet-in-recovery": {57}},
    "stopped-in-recovery": {57, 52},
    **{"address-short-recovery": {63}, "register-short-recovery": {68}},
    "paged-short-recovery": {71},
}
"""What is planted with a fault that cannot stand alone: rules that lead causes of their own."""


def failed(number: int, *times: int, count: int = 0) -> RuleResult:
    """A rule that fails at these times, and more often perhaps."""
    count = count or len(times)
    return RuleResult(RULES[number], Verdict.FAIL, "", count, count, 0, times[:FIRST_TIMES])


def gathered(*results: RuleResult) -> dict[int | None, tuple[int, ...]]:
    """What leads, and what follows from it."""
    return {one.rule: one.follows for one in causes_of(results)}


def test_links_never_lead_round() -> None:
    """So there is one that leads, whatever fails."""
    graph: dict[int, set[int]] = {}
    for link in _LINKS:
        assert {*link.leaders, link.follower} <= RULES.keys()
        graph.setdefault(link.follower, set()).update(link.leaders)
    assert list(TopologicalSorter(graph).static_order())


@pytest.mark.parametrize("name", FAULTS)
def test_all_findings_of_a_fault_are_of_one_cause(name: str) -> None:
    """The rule that was broken leads, or is among what follows; nothing else is a cause."""
    _, report = judged(name)
    if not failing(report):
        assert [one for one in report.causes if one.rule is not None] == []
        return
    others = TWO_FAULTS.get(name, set())
    (cause,) = (one for one in report.causes if one.rule not in others)
    assert PLANTINGS[name].rule in (cause.rule, *cause.follows)
    assert {cause.rule, *cause.follows, *others} == failing(report)


@pytest.mark.parametrize(
    ("results", "expected"),
    [
        # One wrong idle; one more packet of rule 18 elsewhere; as often, but elsewhere.
        ([failed(18, 7), failed(19, 7)], {19: (18,)}),
        ([failed(18, 7, 9), failed(19, 7)], {18: (), 19: ()}),
        ([failed(18, 9), failed(19, 7)], {18: (), 19: ()}),
        # Many: as many of each, of which the first are told.
        ([failed(18, *range(5), count=99), failed(19, *range(5), count=99)], {19: (18,)}),
        ([failed(18, *range(5), count=99), failed(19, *range(5), count=98)], {18: (), 19: ()}),
        (
            [failed(18, 0, 1, 2, 3, 5, count=99), failed(19, *range(5), count=99)],
            {18: (), 19: ()},
        ),
        ([failed(81, *range(5), count=9), failed(18, *range(5), count=9)], {18: (), 81: ()}),
        # A half of a 1, and the bit that it is in; the bit before it, and the one after.
        ([failed(1, 100_058), failed(2, 100_058 - 58_000)], {1: (2,)}),
        ([failed(1, 200_000), failed(2, 200_000 - 116_000)], {1: (), 2: ()}),
        ([failed(1, 200_000), failed(2, 200_001)], {1: (), 2: ()}),
        # Some of the halves have bits whose halves are alike.
        ([failed(1, 0, 10**6, 2 * 10**6), failed(2, 10**6)], {1: (2,)}),
        # What follows follows on.
        ([failed(81, 5), failed(18, 5), failed(30, 5)], {81: (18, 30)}),
        ([failed(81, 5), failed(18, 5, 9), failed(30, 5)], {81: (), 18: (30,)}),
        # Ones behind a write, and another pause: one for one, in turn.
        ([failed(58, 0, 100), failed(76, 50, 150), failed(53, 50, 150)], {58: (76, 53)}),
        ([failed(58, 0, 100), failed(76, 150, 160)], {58: (), 76: ()}),
        ([failed(58, 0), failed(76, 50, 60)], {58: (), 76: ()}),
        ([failed(58, 100), failed(76, 50)], {58: (), 76: ()}),
        # Packets in a run; one further away than service mode lasts.
        ([failed(51, 0), failed(38, 0, 20_000_000, 40_000_000)], {51: (38,)}),
        ([failed(51, 0), failed(38, 0, 20_000_001)], {51: (), 38: ()}),
        # Reserved codes of the packets that are read so; and of another one.
        (
            [failed(51, 0), failed(38, 0), failed(23, 9), failed(30, 0, 9)],
            {51: (38, 23, 30)},
        ),
        ([failed(51, 0), failed(38, 0), failed(30, 0, 5)], {51: (38,), 30: ()}),
    ],
)
def test_what_follows_and_what_does_not(
    results: list[RuleResult], expected: dict[int, tuple[int, ...]]
) -> None:
    """Where counts or times do not go together, a finding stands alone."""
    assert gathered(*results) == expected


@given(
    st.dictionaries(
        st.sampled_from(sorted({one for link in _LINKS for one in (*link.leaders, link.follower)})),
        st.lists(st.integers(0, 40_000), min_size=1, max_size=8),
        min_size=1,
    ),
    st.sampled_from([1, 1_000, 1_000_000]),
)
def test_every_finding_is_of_one_cause(times: dict[int, list[int]], unit: int) -> None:
    """Leading, or following; and none is lost, whatever the times are."""
    results = [
        failed(number, *sorted(unit * one for one in some)) for number, some in times.items()
    ]
    causes = causes_of(results)
    told = [number for one in causes for number in (one.rule, *one.follows)]
    assert sorted(filter(None, told)) == sorted(times)
    counts = {one.rule.number: one.failed for one in results}
    assert all(cause.count == counts[cause.rule or 0] for cause in causes)


def test_a_fault_elsewhere_does_not_hide() -> None:
    """Two faults are two causes, though the same rules fail of both."""
    edges = plant(PLAN, "idle-with-data@5", "broadcast-unknown@20", "short-half@30").edges
    report = check([np.array(edges)], resolution_ns=100)
    assert failing(report) == {1, 2, 18, 19, 30}
    # Rule 18 fails of both packets, so neither explains it, and it explains the reserved code.
    assert {one.rule: one.follows for one in report.causes} == {1: (2,), 18: (30,), 19: ()}


@pytest.mark.parametrize(("percent", "words"), [(6, "6.0 % too long"), (-7, "7.0 % too short")])
def test_a_wrong_clock_is_one_finding(percent: int, words: str) -> None:
    """With a count and its amount, not one for each rule."""
    times = [one + one * percent // 100 for one in synthesize(PLAN * 3, jitter_ns=100)]
    report = check([np.array(times)], resolution_ns=100)
    (cause,) = report.causes
    assert (cause.rule, cause.count) == (None, len(times) - 1)
    assert {1, 2, 3, 4, 5} <= set(cause.follows)
    assert cause.words.startswith(f"all times {words}, of {len(times) - 1} half-bits: ")
    text = report.text()
    told = text.split("\nundecided\n")[1].split("\n\n")[0].splitlines()
    assert len(told) == 3
    assert "from this follow the findings of rules 1-5, 21, 23-24, 52" in told[2]
    assert "- whether the sample rate and the unit are right: if they are, clock_is_right" in text
    assert "each half of a 1" in report.text(every=True)


@pytest.mark.parametrize(("percent", "words"), [(6, "6.0 % too long"), (-7, "7.0 % too short")])
def test_a_wrong_clock_is_the_station_s_where_the_recorder_s_is_right(
    percent: int, words: str
) -> None:
    """As the session says: then halves of ones fail, and those of zeros where they are short."""
    times = [one + one * percent // 100 for one in synthesize(PLAN * 3, jitter_ns=100)]
    session = Session(clock_is_right=True)
    report = check([np.array(times)], resolution_ns=100, session=session)
    assert report.verdict is Verdict.FAIL
    cause = next(one for one in report.causes if one.rule == 1)
    assert words in cause.words
    assert not any("is the sample rate" in note for note in report.notes)
    assert "clock_is_right" not in report.text()


@pytest.mark.parametrize(("percent", "follows"), [(-6, (3,)), (6, ())])
def test_a_wrong_clock_with_jitter_is_one_finding(percent: int, follows: tuple[int, ...]) -> None:
    """Some halves still keep their limits, so times are not in doubt: what fails has one cause."""
    times = [
        one + one * percent // 100 for one in synthesize(PLAN * 3, jitter_ns=1000, start_ns=10_000)
    ]
    report = check([np.array(times)], resolution_ns=50)
    assert report.factor is None
    cause = next(one for one in report.causes if one.rule == 1)
    assert (cause.count, cause.follows) == (report.results[0].failed, follows)
    way = "long" if percent > 0 else "short"
    assert cause.words.endswith(f"; all times 6.0 % too {way} on average")
    assert f"\n      all times 6.0 % too {way} on average\n" in report.text()
    assert report.clock == pytest.approx(1 + percent / 100, abs=1e-3)


def test_a_few_bad_halves_are_not_the_clock() -> None:
    """Of a station whose clock is 4 % off, and well within the limits."""
    bad = Sending(bytes.fromhex("FF00FF"), 16, other_halves=((-1, 55_500), (0, 95_500)))
    times = [one - one * 4 // 100 for one in synthesize([*PLAN, bad, *PLAN])]
    report = check([np.array(times)], resolution_ns=50)
    assert {one.rule: one.amount for one in report.causes} == {1: "", 3: ""}


def test_a_wrong_unit_tells_its_factor() -> None:
    """A percentage of hundreds says nothing."""
    edges = np.fromiter(synthesize(PLAN), np.int64) * 1000
    (cause,) = check([edges], resolution_ns=1000).causes
    assert cause.words.startswith("all times 1000 times what they should be, of ")


def test_what_is_not_told_with_its_times_stands_alone() -> None:
    """A half too long in each 1, and so unlike halves: whether in each, nobody can know here."""
    sent = [Sending(bytes.fromhex("FF00FF"), 16, Timing(one=62_500, one_last=58_000))] * 300
    edges = np.fromiter(synthesize([SHORT, *sent, SHORT]), np.int64)
    report = check([edges], resolution_ns=100)
    assert [(one.rule, one.count, one.follows) for one in report.causes] == [
        (1, 9900, ()),
        (2, 9900, ()),
    ]


def test_the_report_tells_what_follows() -> None:
    """In the terminal with what leads, with --all in full, and in the JSON's summary."""
    _, report = judged("idle-with-data")
    text = report.text()
    told = text.split("\nfail\n")[1].split("\n\n")[0].splitlines()
    assert told[0] == "  19  first byte 255: FF 00 FF only"
    assert told[-1] == "      from this follow the findings of rule 18 (first byte 0, 254 or 255)"
    assert "in defined packets only" not in text
    assert "first byte 0, 254 or 255: in defined packets only" in report.text(every=True)
    *_, summary = report.to_dicts()
    assert json.loads(json.dumps(summary))["causes"] == [
        {"rule": 19, "count": 1, "follows": [18], "words": "first byte 255: FF 00 FF only"}
    ]


def test_all_views_tell_causes() -> None:
    """With the rule that leads, and with those that follow; a wrong clock with each."""
    storm = check(Path(__file__).parents[2] / "vectors/recordings/harbour-storm.vcd")
    for view in (html_of(storm), junit_of(storm)):
        assert "from this follow the findings of rule 18" in view
        assert "follows from rule 19" in view
    lengths = [round(1.06 * one) for one in SHORT.lengths()] * 9
    slow = check([np.cumsum(lengths)], resolution_ns=100)
    for view in (html_of(slow), junit_of(slow)):
        assert view.count("all times 6.0 % too long") >= 2
