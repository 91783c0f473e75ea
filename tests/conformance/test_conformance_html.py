"""The report as a page: valid, whole, and harmless whatever a name holds."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import html5lib
import numpy as np
import pytest
from conformance_helpers import HOSTILE, PLAIN, edges_of, judge, lengths_of

from dccwire import ShortAddress
from dccwire.conformance import (
    Expectation,
    Report,
    Session,
    Verdict,
    check,
    evidence_of,
    html_of,
)
from dccwire.conformance.reports.evidence import Excerpt
from dccwire.conformance.reports.pictures import excerpt
from dccwire.wording import printable

RECORDINGS = sorted((Path(__file__).parents[2] / "vectors/recordings").glob("*.vcd"))
STORM = next(path for path in RECORDINGS if path.stem == "harbour-storm")


def reports() -> dict[str, Report]:
    """One of each kind: much wrong, all right, nothing seen, expectations."""
    expected = Expectation(ShortAddress(3), "F2=on"), Expectation(at_least=0)
    edges = edges_of(lengths_of(PLAIN, "03 80 83", PLAIN))
    return {
        "storm": check(STORM),
        "right": judge(lengths_of("FF 00 FF", "03 74 77")),
        "empty": judge([58_000] * 3),
        "expected": check([edges], resolution_ns=1, session=Session(expectations=expected)),
    }


def valid(page: str) -> bool:
    """By a parser that takes nothing but HTML 5 (the WHATWG's, strictly), read as from a file."""
    tree = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(
        page.encode(), transport_encoding="utf-8"
    )
    ids = [one.get("id") for one in tree.iter() if one.get("id")]
    named = [one.get("aria-labelledby", "").split() for one in tree.iter()]
    assert len(ids) == len(set(ids))
    assert {each for some in named for each in some} == set(ids)
    assert not {"script", "img", "link", "iframe", "failure"} & {one.tag for one in tree.iter()}
    return page.startswith("<!DOCTYPE html>")


@pytest.mark.parametrize("kind", ["storm", "right", "empty", "expected"])
def test_the_page_is_valid(kind: str) -> None:
    """Every id is there once, and every picture is named by its own."""
    assert valid(html_of(reports()[kind]))


@pytest.mark.parametrize("path", RECORDINGS, ids=lambda path: path.stem)
def test_the_page_with_pictures_is_valid(path: Path) -> None:
    """Of all shipped recordings, at 1 us too."""
    for resolution in (None, 1000):
        report = check(path, resolution_ns=resolution)
        assert valid(html_of(report, evidence_of(path, report)))


@pytest.mark.parametrize("name", HOSTILE, ids=range(len(HOSTILE)))
def test_hostile_names_are_text(name: str) -> None:
    """What HTML cannot hold is spelled out; the rest is shown as it was given."""
    some = reports()["right"]
    rows = tuple(replace(one, address=name) for one in some.addresses)
    results = tuple(replace(one, note=name) for one in some.results)
    about = {"source": name, "notes": (name,), "resolution_source": name}
    page = html_of(replace(some, addresses=rows, results=results, **about))
    assert valid(page)
    heading = html5lib.parse(page, namespaceHTMLElements=False).find(".//h1")
    text = " ".join("".join(heading.itertext()).split())
    assert text == f"✓ pass: {' '.join(printable(name).split())}"


def test_the_page_says_what_the_report_says() -> None:
    """Each rule with its verdict in words, what failed with times, notes, expectations."""
    report = reports()["storm"]
    page = html_of(report)
    text = " ".join(re.sub("<[^>]*>", " ", page.split("<body>")[1]).split())
    assert f"✗ fail: {STORM}" in text
    for one in report.results:
        assert one.rule.clause in text
        assert f"{one.rule.number} " in text
    for note in report.notes:
        assert note in text.replace("&#x27;", "'")
    assert "58 of 3513 failed" in text
    assert "at 90.828, 90.891, 90.953, 91.016, 91.078 ms" in text
    for verdict in {one.verdict for one in report.results}:
        assert f" {verdict} " in text
    expected = html_of(reports()["expected"])
    assert "short 3: F2=on, 1 or more, 0 s to the end" in expected
    assert "differs in byte 1 bit 1" in expected


def test_nothing_is_run_or_fetched_whatever_names_hold() -> None:
    """No script, no address of another file; a name is text."""
    evil = '<script>alert("x")</script><img src=x onerror=y>&amp;'
    report = replace(reports()["right"], source=evil, notes=(evil,), resolution_source=evil)
    page = html_of(report)
    assert "<script" not in page
    assert "<img" not in page
    assert "&lt;script&gt;" in page
    assert not re.search(r"https?:|url\(|@import|src=\"|href=", page)
    html5lib.HTMLParser(strict=True).parse(page)


def test_the_page_says_all_that_the_terminal_says() -> None:
    """Marks in the first line, facts, counts, what would decide, what is lacking, notes."""
    halves = lengths_of("EA 40 AA", PLAIN, PLAIN)
    halves[29], halves[60:60] = 95_400, [70_000] * 6
    report = replace(judge(halves, uncertainty_ns=10), stopped=True)
    assert {Verdict.UNDECIDED, Verdict.NOT_DECIDABLE} <= {one.verdict for one in report.results}
    shown = html5lib.parse(html_of(report), namespaceHTMLElements=False)
    page = "".join("".join(shown.itertext()).lower().split())
    sections = report.text(200, every=True).lower().split("\n\n")
    told = [one for one in sections if not one.startswith(("address ", "half-bits by"))]
    lines = [re.sub("^ +[0-9]* +|^- ", "", line) for one in told for line in one.splitlines()]
    assert len(lines) > 40
    for part in (part for line in lines for part in re.split("[:;] ", line)):
        assert "".join(part.split()) in page, part


def test_every_picture_has_words() -> None:
    """For those who do not see it; tables that scroll can be reached by the keyboard."""
    report = reports()["storm"]
    page = html_of(report, evidence_of(STORM, report))
    assert page.count("<svg") == page.count('role="img"')
    for svg in re.findall(r"<svg[^>]*>", page):
        assert "aria-label" in svg
    assert page.count('class="scroll"') == page.count('tabindex="0"')
    assert page.count("<figure>") == 10
    assert "packet 37 74 42; packet FF 00 FF." in page
    assert ">rules 18, 19</text>" in page


def test_merged_pulses_are_drawn() -> None:
    """With a word, where they were; and a half of more than 300 us with a break."""
    halves = lengths_of(PLAIN, "03 3F 3D", PLAIN)
    halves[118] = 400_000
    halves[114:115] = [20_000, 2_000, halves[114] - 22_000]
    edges = [edges_of(halves)]
    report = check(edges, resolution_ns=1000, rules=[16])
    page = html_of(report, evidence_of(edges, report))
    assert page.count(">pulse</text>") == 1
    assert page.count('<line class="signal"') == 2
    assert valid(page)


@pytest.mark.parametrize(("time", "x"), [(0, 10), (29_000, 24.5), (58_000, 39), (558_000, None)])
def test_a_failure_is_marked_where_it_is(time: int, x: float | None) -> None:
    """Also within a half-bit; half a unit a microsecond, from 10 on; not where the signal ends."""
    parts = ((0, 58_000, "no signal"),)
    seen = Excerpt(time, (13, 17), (0, 58_000, 558_000), (), parts, ())
    drawn = excerpt(seen, 0, "signal")
    assert drawn.count("rules 13, 17") == drawn.count('class="mark"') == (x is not None)
    assert (f'<line class="limit" x1="{x}"' in drawn) is (x is not None)


@pytest.mark.parametrize(
    ("count", "told"),
    [(9_999, "9999"), (10_000, "10k"), (999_999, "999k"), (5_000_000, "5M"), (7 * 10**9, "7G")],
)
def test_large_counts_fit_above_their_bars(count: int, told: str) -> None:
    """In thousands, millions and more; the words below say them in full."""
    report = judge([])
    report.histogram.add(np.array([58_000, 99_000]))
    report.histogram._bins[58] = count
    page = html_of(report)
    assert f">{told}</text>" in page
    assert f"58 us to less than 59: {count}<" in page
    assert f"58 to 59 us {count}" in page


def test_the_command_writes_a_page(run, tmp_path: Path) -> None:
    """And says where it cannot."""
    path = tmp_path / "a.html"
    assert run("check", str(STORM), "--html", str(path))[0] == 1
    report = check(str(STORM))
    assert path.read_text("utf-8") == html_of(report, evidence_of(str(STORM), report))
    status, _, err = run("check", str(STORM), "--html", str(tmp_path / "none" / "a.html"))
    assert (status, err.count("\n")) == (2, 1)
    assert "a folder that is there" in err
