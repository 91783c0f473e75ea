"""Rules 20 and 45 to 48: accessory packets, resets, and what is told alone."""

from __future__ import annotations

import pytest
from conformance_helpers import edges_of, lengths_of, result
from test_conformance_codes import said, verdict

from dccwire.conformance import Force, Verdict, check
from dccwire.conformance.rules import Outcome

PASS, FAIL, UNDECIDED, OBSERVED = Verdict.PASS, Verdict.FAIL, Verdict.UNDECIDED, Verdict.OBSERVED


@pytest.mark.parametrize("output", range(16))
def test_rule_45_output_of_a_cv_access(output: int) -> None:
    """CDDD: 0000 the whole decoder, C = 1 an output; C = 0 with one is open (X31)."""
    found = verdict(45, f"81 F{output:X} EC 07 05")
    assert found is (PASS if output == 0 or output >= 8 else UNDECIDED)
    assert verdict(45, f"81 7{output:X} EC 07 05") is None
    assert verdict(45, f"81 F{output:X} DC 07 05") is None
    assert verdict(45, f"81 F{output:X} EC 07") is None


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        *[("9F 73 05", PASS), ("9F 01 00", PASS), ("9F 77 1F", PASS), ("9F 72 05", FAIL)],
        *[("9F 7B 05", FAIL), ("9F F1 05", FAIL), ("9F 75", None), ("03 73 05", None)],
        *[("9F 73 05 05", None), ("C0 73 05", None)],
    ],
)
def test_rule_46_accessory_packets_of_four_bytes(text: str, expected: Verdict | None) -> None:
    """In the second byte bits 7 and 3 are 0, bit 0 is 1 (S-9.2.1 §D)."""
    assert verdict(46, text) is expected


@pytest.mark.parametrize("aspect", [31, 32, 255])
def test_rule_46_eight_bits_of_an_aspect_are_told(aspect: int) -> None:
    """NEM 672 uses them all (X33)."""
    outcome = said(46, f"9F 73 {aspect:02X}")
    assert outcome is not None
    assert (outcome.verdict, bool(outcome.note)) == (PASS, aspect > 31)


@pytest.mark.parametrize(
    ("number", "text", "expected"),
    [
        *[(20, "00 00", OBSERVED), (20, "00 01", OBSERVED), (20, "00 00 00", None)],
        *[(20, "03 00", None), (20, "00 02", None)],
        *[(47, "BF 80", OBSERVED), (47, "BF 8F", OBSERVED), (47, "BF 07 05", OBSERVED)],
        *[(47, "BF 90", None), (47, "BE 80", None), (47, "BF 06 05", None), (47, "3F 80", None)],
        *[(48, "81 7E 00 05", OBSERVED), (48, "81 7E 08 05", OBSERVED), (48, "81 7E 01 05", None)],
        *[(48, "81 7C 00 05", None), (48, "81 71 00 05", None), (48, "81 7E 00", None)],
    ],
)
def test_what_is_told_alone(number: int, text: str, expected: Verdict | None) -> None:
    """Resets of all decoders, broadcasts to accessories, and the old form to CV 513 and 521."""
    assert verdict(number, text) is expected


def test_what_was_observed_neither_passes_nor_fails() -> None:
    """It is counted; what was not is not exercised."""
    edges = edges_of(lengths_of("00 00 00", "00 00 00", "FF 00 FF", preamble=20))
    report = check([edges], resolution_ns=1000, rules=(20, 47))
    assert (result(report, 20).verdict, result(report, 20).measured) == (OBSERVED, 2)
    assert result(report, 47).verdict is Verdict.NOT_EXERCISED
    assert report.verdict is Verdict.NOT_EXERCISED
    assert "observed       rule 20\n" in report.text()
    edges = edges_of(lengths_of(*["00 00 00"] * 2, "00 01 01", "81 7E 00 05 FA", preamble=20))
    report = check([edges], resolution_ns=1000, rules=(20, 48))
    assert result(report, 20).note == "1 hard resets"
    assert (result(report, 48).verdict, result(report, 48).force) == (OBSERVED, Force.SHOULD)
    assert not report.failed_strictly


@pytest.mark.parametrize("address", ["81 F0", "81 F8", "81 71"])
def test_rule_34_bits_of_accessory_cvs(address: str) -> None:
    """The data byte is as for other decoders, which follows from S-9.2.1 §C alone."""
    assert verdict(34, f"{address} E8 07 E5") is PASS
    assert said(34, f"{address} EB 07 C5") == Outcome(FAIL, force=Force.DERIVED)
    assert verdict(34, f"{address} EC 07 05") is None
    assert verdict(34, f"{address} E8 07") is None
    assert verdict(34, "81 72 E8 07 05") is None
