"""The report: its verdict, its text at any width, its JSON."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import replace
from itertools import cycle

import numpy as np
import pytest
from conformance_helpers import PLAIN, SIGNAL, edges_of, judge, lengths_of, result

from dccwire import ShortAddress
from dccwire.conformance import (
    RULES,
    Expectation,
    Force,
    Histogram,
    Report,
    Rule,
    RuleResult,
    Session,
    Verdict,
    check,
)
from dccwire.conformance.addresses import AddressRow
from dccwire.conformance.report import SCHEMA
from dccwire.signal import Limit
from dccwire.wording import KINDS

NOT_EXERCISED = Verdict.NOT_EXERCISED


def report_of(*results: RuleResult, packets: int = 1, source: str = "edges") -> Report:
    """A report with these results."""
    return Report(results, source, 1000, "option", 0, 2, packets, 58_000, Histogram())


def bad_report() -> Report:
    """A report in which much fails, with long lists of times and notes."""
    wrong = ["033F3D", "FF01FE", "5A5A", "00C11E0C01D2"] * 3
    halves = lengths_of(PLAIN, *wrong, PLAIN, preamble=13)
    halves += [29_000, 450_000, *[65_000] * 9, *lengths_of(PLAIN, PLAIN)]
    halves[50:50] = [58_000, 1000, 58_000]
    return judge([62_000] * 9 + halves)


@pytest.mark.parametrize(
    ("verdicts", "packets", "expected"),
    [
        ((Verdict.PASS, Verdict.UNDECIDED, Verdict.FAIL), 1, Verdict.FAIL),
        ((Verdict.PASS, Verdict.UNDECIDED, Verdict.NOT_EXERCISED), 1, Verdict.UNDECIDED),
        ((Verdict.PASS, Verdict.NOT_EXERCISED, Verdict.NOT_DECIDABLE), 1, Verdict.PASS),
        ((Verdict.NOT_EXERCISED, Verdict.NOT_DECIDABLE), 1, Verdict.NOT_EXERCISED),
        ((Verdict.NOT_DECIDABLE,), 1, Verdict.NOT_DECIDABLE),
        ((Verdict.PASS, Verdict.NOT_EXERCISED), 0, Verdict.NOT_EXERCISED),
        ((Verdict.FAIL,), 0, Verdict.FAIL),
        ((), 1, Verdict.NOT_EXERCISED),
    ],
)
def test_the_verdict_of_a_recording(
    verdicts: tuple[Verdict, ...], packets: int, expected: Verdict
) -> None:
    """The gravest counts; what shows nothing is no pass."""
    report = report_of(*(RuleResult(RULES[1], one) for one in verdicts), packets=packets)
    assert report.verdict is expected
    assert report.failed is (expected is Verdict.FAIL)


@pytest.mark.parametrize(("packets", "expected"), [(1, Verdict.UNDECIDED), (0, NOT_EXERCISED)])
def test_what_was_not_judged_does_not_pass(packets: int, expected: Verdict) -> None:
    """Half-bits of no packet leave a recording undecided, unless they are all there is."""
    passed = report_of(RuleResult(RULES[1], Verdict.PASS), packets=packets)
    report = replace(passed, not_judged=1)
    assert report.verdict is expected
    assert "1 half-bit of no packet: what is left of one that broke off" in report.text(120)
    assert report.text(120).startswith(f"{expected}: edges")
    assert list(report.to_dicts())[-1]["not_judged"] == 1


@pytest.mark.parametrize("force", Force)
def test_only_what_the_text_demands_or_defines_counts_unless_strict(force: Force) -> None:
    """A rule fails whatever its force; the exit status follows 'shall' and 'defined' alone."""
    rule = Rule(99, "what is invented", Limit("no clause", words="none"), force)
    report = report_of(RuleResult(rule, Verdict.FAIL, measured=1, failed=1))
    binding = force in (Force.SHALL, Force.DEFINED)
    assert (report.failed, report.failed_strictly, report.verdict) == (binding, True, Verdict.FAIL)
    assert report.text().startswith("fail (of no 'shall': see the force)") is not binding
    assert not report_of(RuleResult(rule, Verdict.UNDECIDED)).failed_strictly


def test_printing_a_report_is_its_text() -> None:
    """As a failing test shows it."""
    report = bad_report()
    assert str(report) == report.text()


@pytest.mark.parametrize("width", [60, 61, 80, 120, 200])
def test_the_text_is_never_wider_than_asked(width: int) -> None:
    """Whatever fails, and however long the file's name is."""
    bad = bad_report()
    named = report_of(*bad.results, source="a-long-name/" * 30 + "x.vcd")
    for report in (bad, named):
        assert max(map(len, report.text(width).splitlines())) <= width


def test_the_text_has_at_least_60_columns() -> None:
    """A narrower terminal gets what one of 60 columns gets."""
    report = bad_report()
    assert report.text(1) == report.text(60) != report.text()
    assert report.text() == report.text(80)


def test_the_text_says_what_was_found() -> None:
    """Rule, verdict, limit, clause, force, worst, counts, times and note, at 120 columns."""
    text = judge([*lengths_of(PLAIN, PLAIN), 62_000, 62_000, *lengths_of(PLAIN)]).text(120)
    lines = text.splitlines()
    assert lines[:3] == [
        "fail: edges",
        "14 rules: 1 fail, 9 pass, 2 not decidable, 2 not exercised",
        "3 packets, 255 edges, 0.018 s; resolution 1 us (option)",
    ]
    place = lines.index("   1  each half of a 1: 55 to 61 us")
    assert lines[place - 1] == "fail"
    assert [line.strip() for line in lines[place + 1 : place + 3]] == [
        "worst 62 us, 2 of 164 failed, at 12.204, 12.266 ms",
        "S-9.1 §A, Table 1 t1 (shall)",
    ]
    below = lines[lines.index("pass           S-9.1     rules 2-5") :]
    assert below[:5] == [
        "pass           S-9.1     rules 2-5",
        "pass           S-9.2     rules 14-16",
        "pass           S-9.2.1   rules 27-28",
        "not decidable  rules 13, 17; --all tells why",
        "not exercised  rules 18-19",
    ]
    assert lines[-1] == "half-bits: 58 to 59 us 162; 62 to 63 us 2; 99 to 100 us 90"


def test_the_text_marks_times_left_out() -> None:
    """Five times, then dots if there are more; undecided readings are counted too."""
    halves = lengths_of(PLAIN, PLAIN)
    ones = [58_000] * 4 + [62_000] * 5
    times = "at 0.232, 0.294, 0.356, 0.418, 0.480 ms"
    assert f"{times}\n" in judge(ones + halves).text(120)
    text = judge([*ones, 62_000, *[61_000] * 2, *halves]).text(120)
    assert f"worst 62 us, 6 of 120 failed, {times}, ..., 2 undecided, at 0.604, 0.665 ms\n" in text


def test_the_text_says_what_would_decide() -> None:
    """In one line for all rules that finer times would decide, in another for the rest."""
    halves = lengths_of(PLAIN, PLAIN, PLAIN)
    halves[88:90], halves[112] = [60_500, 60_500], 95_400
    text = judge(halves).text()
    assert "- rules 1, 3: times known to less than 0.4 us would decide" in text
    halves[112] = 95_000
    assert "rules 1, 3: another recording would decide" in judge(halves).text()
    halves[130] = 12_000_000
    assert "- rule 13: see its note" in judge(halves).text()


def test_a_rule_not_exercised_shows_no_counts() -> None:
    """Nothing measured is shown as nothing."""
    report = report_of(RuleResult(RULES[27], NOT_EXERCISED))
    assert "not exercised  rule 27\n" in report.text()
    assert "measured" not in report.text(every=True)
    assert "not exercised\n  27  bytes of a packet: 3 to 6 bytes" in report.text(every=True)


def test_json_has_a_line_a_rule_and_the_summary_last() -> None:
    """Each line is one JSON object; the summary counts the verdicts."""
    report = judge(lengths_of(PLAIN, "033F3D", PLAIN, preamble=13))
    lines = [json.loads(json.dumps(line)) for line in report.to_dicts()]
    assert [line["rule"] for line in lines[:-1]] == sorted(SIGNAL)
    assert next(line for line in lines if line["rule"] == 16) == {
        "rule": 16,
        "verdict": "fail",
        "force": "shall",
        "quantity": "exclusive OR of all bytes",
        "limit": "0",
        "clause": "S-9.2 §B; S-9.2.1 §C",
        "provenance": "published",
        "worst": "",
        "measured": 3,
        "failed": 1,
        "undecided": 0,
        "nearest_ns": None,
        # A packet with 13 ones, then 13 more: 26 × 116 + 13 × 116 less, see the helpers.
        "first_times_ns": [(6102 - 116 + 13 * 116) * 1000],
        "first_bytes": "03 3F 3D",
        "undecided_times_ns": [],
        "recording": "",
        "note": "",
    }
    # 26 ones and 15 zeros, 27 and 14, 26 and 15.
    ones, zeros = 26 + 27 + 26, 15 + 14 + 15
    assert lines[-1] == {
        "summary": True,
        "schema": SCHEMA,
        "verdict": "fail",
        "source": "edges",
        "rules": {
            verdict.value: [line["verdict"] for line in lines[:-1]].count(verdict.value)
            for verdict in Verdict
        },
        "packets": 3,
        "edges": 2 * (ones + zeros) + 1,
        "duration_ns": (ones * 116 + zeros * 198) * 1000,
        "resolution_ns": 1000,
        "resolution_source": "option",
        "uncertainty_ns": 0,
        "not_judged": 0,
        "histogram_us": {"58": 2 * ones, "99": 2 * zeros},
        "stopped": False,
        "causes": [
            {"rule": 16, "count": 1, "follows": [], "words": "exclusive OR of all bytes: 0"}
        ],
        "addresses": [
            {
                "address": "short 3",
                "packets": {"speed": 2},
                "rate_hz": 1e9 / 11_890_000,
                "first_ns": 1_508_000,
                "last_ns": 13_398_000,
                "longest_ns": 11_890_000,
                "without_ns": 7_412_000,
            }
        ],
        "notes": [],
    }


def test_only_the_rules_asked_for_are_reported() -> None:
    """What another rule finds counts for nothing then."""
    edges = edges_of(lengths_of(PLAIN, "033F3D", PLAIN))
    report = check([edges], rules=(27, 1))
    assert [one.rule.number for one in report.results] == [1, 27]
    assert (report.verdict, len(list(report.to_dicts()))) == (Verdict.PASS, 3)
    assert check([edges], rules=[16]).verdict is Verdict.FAIL
    assert result(check([edges], rules={17}), 17).verdict is Verdict.NOT_DECIDABLE
    assert check([edges], rules={17}).verdict is Verdict.NOT_DECIDABLE


def clean(
    numbers: Iterable[int], addresses: int = 40, halves: Iterable[int] = (), **more: object
) -> Report:
    """A report in which these rules pass, others lack or show nothing by turns."""
    others = cycle((Verdict.NOT_DECIDABLE, Verdict.NOT_EXERCISED, Verdict.OBSERVED))
    passed = set(numbers)
    results = [
        RuleResult(rule, Verdict.PASS if number in passed else next(others))
        for number, rule in RULES.items()
    ]
    rows = [
        AddressRow(f"extended-accessory {n}", dict.fromkeys(KINDS, n), 0, 10**12, 10**10, 10**10)
        for n in range(1, addresses + 1)
    ]
    histogram = Histogram()
    histogram.add(np.array([*halves], np.int64))
    report = report_of(*results, packets=10**7, source="a-recording-of-a-station.vcd")
    return replace(
        report,
        edges=10**9,
        resolution_source="greatest common divisor of the edge times",
        uncertainty_ns=100,
        histogram=histogram,
        addresses=tuple(rows),
        **more,
    )


@pytest.mark.parametrize("numbers", [range(1, 95), range(1, 95, 2), range(1, 95, 3)])
@pytest.mark.parametrize("addresses", [0, 1, 9, 1000])
def test_a_clean_recording_fits_one_screen(numbers: range, addresses: int) -> None:
    """24 lines of 80 columns with the prompt: half-bits, addresses, and the longest lists."""
    note = "3000 half-bits between packets not judged: they have the shape of a cutout or a pause"
    lengths = [*range(55_000, 62_000, 1000), *range(96_000, 140_000, 2000), 200_000]
    report = clean(numbers, addresses, lengths, notes=(f"{note} (S-9.2 §C)",))
    lines = report.text().splitlines()
    assert len(lines) <= 23
    assert max(map(len, lines)) <= 80
    assert lines[0] == "pass: a-recording-of-a-station.vcd"
    rows = [line for line in lines if line.startswith("extended-accessory ")]
    assert len(rows) >= min(addresses, 1)
    assert (f"and {addresses - len(rows)} more, which --all tells" in lines) is (
        len(rows) < addresses
    )
    assert "half-bits: " in "\n".join(lines)


def test_a_chapter_is_told_in_one_line() -> None:
    """Also where its rules do not stand in a row; too many are counted."""
    lines = clean(range(1, 95)).text().splitlines()
    passed = [line for line in lines if line.startswith("pass  ")]
    chapters = [line.split()[1] for line in passed]
    assert chapters == sorted({rule.chapter for rule in RULES.values()})
    assert "pass           S-9.2.1   rules 27-48, 87-91" in passed
    (told,) = (line for line in clean(range(1, 95, 2)).text().splitlines() if " S-9.2.3 " in line)
    assert told.endswith(", ... (20 in all)")
    assert told.split("rules ")[1].startswith("49, 51, 53, ")


@pytest.mark.parametrize("width", [60, 80, 100, 200])
def test_kinds_that_do_not_fit_are_counted(width: int) -> None:
    """A row does not end in a comma, and says how many kinds it leaves out."""
    rows = [
        line
        for line in clean([1], 1).text(width, every=True).splitlines()
        if line.startswith("extended-accessory ")
    ]
    (row,) = rows
    assert len(row) <= width
    told = [one for one in KINDS if one in row.split("accessory 1 ")[1]]
    assert tuple(told) == KINDS[: len(told)]
    left = len(KINDS) - len(told)
    assert row.split()[-1] == "10000.0" or "10000.0  " in row
    assert row.endswith(f" +{left}" if left and told else told[-1] if told else "10000.0")


def test_names_cannot_steer_the_terminal() -> None:
    """Control characters and lone surrogates are spelled out, in notes too."""
    evil = "a\x1b[2J\udcff\u202e\n.vcd"
    report = replace(report_of(), source=evil, notes=(evil,), resolution_source=evil)
    for every in (False, True):
        text = report.text(every=every)
        assert text.startswith("not exercised: a\\x1b[2J\\udcff\\u202e\\n.vcd\n")
        assert all(line.isprintable() for line in text.splitlines())


def test_a_recording_of_many_addresses_fits_one_screen() -> None:
    """All rules, 110 addresses, each sent to four times."""
    sent = [bytes((number, 0x74, number ^ 0x74)) for number in range(1, 111)] * 4
    halves = lengths_of("FF 00 FF", *sent)
    report = check([edges_of(halves)], resolution_ns=100)
    lines = report.text().splitlines()
    assert lines[0] == "pass: edges"
    assert len(lines) == 23
    assert max(map(len, lines)) <= 80
    assert "and 102 more, which --all tells" in lines
    ones, zeros = halves.count(58_000), halves.count(99_000)
    assert lines[-1] == f"half-bits: 58 to 59 us {ones}; 99 to 100 us {zeros}"


def test_the_text_says_where_it_is_undecided_and_counts_expectations() -> None:
    """Beside what fails, too, though it follows from another rule."""
    wanted = Expectation(ShortAddress(3), until_ns=10**6), Expectation(ShortAddress(9))
    session = Session(expectations=wanted)
    edges = [edges_of(lengths_of(PLAIN, "FE 12 EC", "FF 01 FE", PLAIN))]
    text = check(edges, resolution_ns=1000, session=session, rules=(18, 19)).text(100)
    assert "2 rules: 2 fail; 2 expectations: 2 fail" in text
    assert "from this follow the findings of rule 18" in text
    assert "first byte 0, 254 or 255" in text.partition("from this follow")[2]
    assert "1 undecided, at 7." in text
