"""The report as a page: valid, whole, and harmless whatever a name holds."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import html5lib
import pytest
from conformance_helpers import PLAIN, edges_of, judge, lengths_of

from dccwire import ShortAddress
from dccwire.conformance import Expectation, Report, Session, check, html_of

STORM = Path(__file__).parents[2] / "vectors/recordings/harbour-storm.vcd"


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


@pytest.mark.parametrize("kind", ["storm", "right", "empty", "expected"])
def test_the_page_is_valid(kind: str) -> None:
    """By a parser that takes nothing but HTML 5 (the WHATWG's, strictly)."""
    page = html_of(reports()[kind])
    html5lib.HTMLParser(strict=True).parse(page)
    assert page.startswith("<!DOCTYPE html>")


def test_the_page_says_what_the_report_says() -> None:
    """Each rule with its verdict in words, what failed with times, notes, expectations."""
    report = reports()["storm"]
    page = html_of(report)
    text = " ".join(re.sub("<[^>]*>", " ", page.split("<body>")[1]).split())
    assert f"✗ fail : {STORM}" in text
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
    assert "differs in byte 2 bit 1" in expected


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


def test_every_picture_has_words() -> None:
    """For those who do not see it; tables that scroll can be reached by the keyboard."""
    page = html_of(reports()["storm"])
    assert page.count("<svg") == page.count('role="img"')
    for svg in re.findall(r"<svg[^>]*>", page):
        assert "aria-label" in svg
    assert page.count('class="scroll"') == page.count('tabindex="0"')


def test_the_command_writes_a_page(run, tmp_path: Path) -> None:
    """And says where it cannot."""
    path = tmp_path / "a.html"
    assert run("check", str(STORM), "--html", str(path))[0] == 1
    assert path.read_text("utf-8") == html_of(check(str(STORM)))
    status, _, err = run("check", str(STORM), "--html", str(tmp_path / "none" / "a.html"))
    assert (status, err.count("\n")) == (2, 1)
    assert "No such file" in err
