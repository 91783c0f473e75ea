"""The table of rules, and choosing among them."""

from __future__ import annotations

from functools import reduce
from operator import xor

import pytest
from conformance_helpers import PLAIN, judge, lengths_of, result

from dccwire.conformance import RULES, Force, Verdict, choose_rules, rules_in_words
from dccwire.conformance.rules import rule
from dccwire.errors import FieldError
from dccwire.formats import Provenance
from dccwire.signal import Limit
from refusals import refused

SHALL, DEFINED = Force.SHALL, Force.DEFINED
OPENING = "3 resets; 5 and 6 for the page; 3 resets"
TEXTS = {
    1: ("55 to 61 us", "S-9.1 §A, Table 1 t1", SHALL),
    2: ("at most 3 us", "S-9.1 §A, Table 1 t1d", SHALL),
    3: ("95 to 9900 us", "S-9.1 §A, Table 1 t0", SHALL),
    4: ("at most 12000 us", "S-9.1 §A, Table 1 t0total", SHALL),
    5: ("none", "S-9.1 §A, from t1 and t0 (E5)", SHALL),
    13: ("none", "S-9.1 §C; S-9.2 §C", SHALL),
    14: ("at least 14 ones", "S-9.2 §A, Preamble (C2)", SHALL),
    15: ("0 before a byte, 1 at the end", "S-9.2 §A", DEFINED),
    16: ("0", "S-9.2 §B; S-9.2.1 §C", SHALL),
    17: ("at least 26 us", "S-9.2 §A footnote 3 (C14)", SHALL),
    18: ("in defined packets only", "S-9.2 §A (C7)", SHALL),
    19: ("FF 00 FF only", "S-9.2 §B, Idle", SHALL),
    27: ("3 to 6 bytes", "S-9.2.1, introduction; §C (C3)", DEFINED),
    28: ("none", "S-9.2.1 §A", Force.DERIVED),
    49: ("at least 20 ones", "S-9.2.3 §E, Long Preamble (P16, C2)", DEFINED),
    51: ("a reset", "S-9.2.3 §C", Force.DERIVED),
    52: ("at most 20000 us", "S-9.2.3 §C 2.", Force.DERIVED),
    53: ("none", "S-9.2.3 §C 1.; §E", Force.DERIVED),
    54: ("at least 3 packets", "S-9.2.3 §E, Direct Mode", SHALL),
    55: ("at least 5 packets", "S-9.2.3 §E, Direct Mode (P1)", SHALL),
    56: ("at least one packet", "S-9.2.3 §E, Direct Mode (P2)", Force.REPORT),
    57: ("at least 5 packets", "S-9.2.3 §E, Direct Mode", SHALL),
    58: ("at least 6 packets", "S-9.2.3 §E, Direct Mode; Decoder Recovery Time", SHALL),
    60: ("all three", "S-9.2.3 §E, Direct Mode", SHALL),
    61: ("an example", "S-9.2.3 §E, Direct Mode", Force.REPORT),
    62: (OPENING, "S-9.2.3 §E, Address-Only Mode (P6)", DEFINED),
    63: ("at least 5 packets", "S-9.2.3 §E, Address-Only Mode", DEFINED),
    64: ("at least 10 packets", "S-9.2.3 §E, Address-Only Mode", SHALL),
    66: (OPENING, "S-9.2.3 §E, Physical Register Addressing (P6)", DEFINED),
    67: ("at least 7 packets", "S-9.2.3 §E, Physical Register Addressing (P1)", DEFINED),
    68: ("at least 5 packets", "S-9.2.3 §E, Physical Register Addressing", DEFINED),
    69: (
        "at least 6 packets; register 1: 10",
        "S-9.2.3 §E, Physical Register Addressing (P21)",
        SHALL,
    ),
    70: (OPENING, "S-9.2.3 §E, Paged CV Addressing (P6)", DEFINED),
    71: ("at least 5 packets", "S-9.2.3 §E, Paged CV Addressing (P1)", DEFINED),
    72: ("at least 6 packets", "S-9.2.3 §E, Paged CV Addressing (P21)", SHALL),
    73: ("1", "S-9.2.3 §E, Paged CV Addressing", Force.SHOULD),
    74: ("never", "S-9.2.3 §E footnote 3", SHALL),
    75: ("never", "S-9.2.3 §D; §E", SHALL),
    76: ("none", "S-9.2.3 §E, Decoder Recovery Time", SHALL),
    77: ("7F 08 77", "S-9.2.3 §E, Decoder Factory Reset, footnote 6 (P11)", DEFINED),
    78: ("at least 10 packets", "S-9.2.3 §E, Hard-Reset-Cycle (P14)", Force.REPORT),
    80: ("where direct and paged mode failed", "S-9.2.3 Appendix A", Force.SHOULD),
    82: ("60 mA more, for 5 to 7 ms", "S-9.2.3 §D, Basic Acknowledgment", Force.REPORT),
    83: ("from the second packet on", "S-9.2.3 §D (P17)", Force.REPORT),
    84: ("for at most 100 ms", "S-9.2.3 §B 3.", Force.SHOULD),
    85: ("at most 250 mA", "S-9.2.3 §E, Power-On Cycle", Force.SHOULD),
    93: ("behind page 1", "S-9.2.3 §E footnote 4", Force.SHOULD),
    94: ("00 00 00", "S-9.2.3 §E", DEFINED),
}
"""Limit, clause and force of each rule as the texts have them, by hand."""


def test_every_rule_has_the_limit_clause_and_force_of_the_texts() -> None:
    """Each of them, and no other rule; all are printed."""
    found = {number: (str(one.limit), one.clause, one.force) for number, one in RULES.items()}
    assert found == TEXTS
    derived = {number for number, one in RULES.items() if one.provenance is Provenance.DERIVED}
    assert derived == {5, 28, 51, 52, 53}
    assert {one.provenance for one in RULES.values()} <= {Provenance.PUBLISHED, Provenance.DERIVED}
    assert all(one.number == number for number, one in RULES.items())


def test_the_rules_in_words_are_the_docs_table() -> None:
    """A row a rule, in order, after the headings."""
    head, *rows = rules_in_words()
    assert head == ("rule", "what is judged", "limit", "clause", "force", "provenance")
    assert [int(row[0]) for row in rows] == sorted(RULES)
    assert rows[0] == (
        *("1", "each half of a 1", "55 to 61 us", "S-9.1 §A, Table 1 t1"),
        *("shall", "published"),
    )


def test_a_number_is_one_rule_s() -> None:
    """Another with the same number is refused when it is declared."""
    with refused(FieldError, field="rule", value=27):
        rule(27, "another", Limit("no clause"))


@pytest.mark.parametrize(
    ("text", "numbers"),
    [
        ("1", (1,)),
        ("27,1", (1, 27)),
        ("1-5,14", (1, 2, 3, 4, 5, 14)),
        (" 2 , 3-3 ", (2, 3)),
        ("5-14", (5, 13, 14)),
        ("4-15,5,14-16", (4, 5, 13, 14, 15, 16)),
        ("1-9999999999999999999", tuple(sorted(RULES))),
    ],
)
def test_choosing_rules(text: str, numbers: tuple[int, ...]) -> None:
    """Numbers and ranges, in any order, each once; a range leaves out what is no rule."""
    assert choose_rules(text) == numbers


@pytest.mark.parametrize(
    "text",
    [
        "",
        "x",
        "1,",
        ",1",
        "1-",
        "-5",
        "1-x",
        "1.5",
        "1 2",
        "²",
        "1-2-3",
        "--",
        "1" * 5000,
        "1-" + "9" * 20,
    ],
)
def test_what_is_no_list_of_rules(text: str) -> None:
    """The error holds the whole text."""
    with refused(FieldError, field="rules", value=text, bound="numbers and ranges such as 1-5,14"):
        choose_rules(text)


@pytest.mark.parametrize(("text", "part"), [("6", "6"), ("1, 6-12 ", "6-12"), ("5-3", "5-3")])
def test_numbers_that_are_no_rules(text: str, part: str) -> None:
    """The error holds the part that names none, and all that there are."""
    *most, last = map(str, TEXTS)
    bound = f"some of {', '.join(most)} or {last}"
    with refused(FieldError, field="rules", value=part, bound=bound):
        choose_rules(text)


@pytest.mark.parametrize(("size", "force"), [(2, DEFINED), (7, Force.DERIVED)])
def test_rule_27_too_few_bytes_are_against_the_definition_too_many_derived(
    size: int, force: Force
) -> None:
    """So that over six bytes fail strictly alone (C3)."""
    body = bytes([3, *[0x90] * (size - 2)])
    report = judge(lengths_of(PLAIN, body + bytes([reduce(xor, body)]), PLAIN))
    found = result(report, 27)
    assert (found.verdict, found.failed, found.force) == (Verdict.FAIL, 1, force)
    assert (report.failed, report.failed_strictly) == (force is DEFINED, True)


@pytest.mark.parametrize(
    ("first", "verdict"),
    [
        *((231, Verdict.PASS), (232, Verdict.FAIL), (252, Verdict.FAIL)),
        *((253, Verdict.UNDECIDED), (254, Verdict.PASS), (255, Verdict.PASS)),
    ],
)
def test_rule_28_reserved_first_bytes(first: int, verdict: Verdict) -> None:
    """232 to 252 fail, as derived; 253 is told (from memory); a wrong error byte shows nothing."""
    report = judge(lengths_of(PLAIN, bytes([first, 0, first]), PLAIN))
    found = result(report, 28)
    assert (found.verdict, found.measured, found.failed) == (verdict, 3, verdict is Verdict.FAIL)
    assert (report.failed, report.failed_strictly) == (False, verdict is Verdict.FAIL)
    assert ("from memory" in found.note) is (first == 253)
    assert result(judge(lengths_of(PLAIN, bytes([first, 0, 7]))), 28).measured == 1
