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

SHALL, DEFINED, DERIVED, REPORT = Force.SHALL, Force.DEFINED, Force.DERIVED, Force.REPORT
OPENING = "3 resets; 5 and 6 for the page; 3 resets"
TEXTS = {
    1: ("55 to 61 us", "S-9.1 §A, Table 1 t1", SHALL),
    2: ("at most 3 us", "S-9.1 §A, Table 1 t1d", SHALL),
    3: ("95 to 9900 us", "S-9.1 §A, Table 1 t0", SHALL),
    4: ("at most 12000 us", "S-9.1 §A, Table 1 t0total", SHALL),
    5: ("none", "S-9.1 §A, from t1 and t0 (E5)", SHALL),
    6: ("told: the same nominal duration, without a tolerance", "S-9.1 §A", SHALL),
    7: ("told: normally equal, unless stretched", "S-9.1 §A (E6)", REPORT),
    8: ("equal in size", "S-9.1 §A", DEFINED),
    9: ("2.4 V/us or more", "S-9.1 §B, Table 2", SHALL),
    10: ("2 V or less", "S-9.1 §B, Table 2", SHALL),
    11: ("8.5 to 22 V", "S-9.1 §C, Table 3 (E3)", SHALL),
    12: ("22 V or less", "S-9.1 §C", Force.SHOULD),
    25: ("as often as possible", "S-9.2 §C", Force.SHOULD),
    26: ("codes of the table", "S-9.2 §B", SHALL),
    59: ("CC is not 00; of bits, data is 111KDBBB", "S-9.2.3 §E, Direct Mode (P4)", DEFINED),
    65: ("bit 7 is 0", "S-9.2.3 §E, Address-Only Mode", DEFINED),
    79: ("first byte 1 to 111", "S-9.2.3 Appendix A (P12)", DEFINED),
    81: ("00 F9 0aaaaaaa", "S-9.2.3 Appendix B", DEFINED),
    86: (
        "20 or more, then 10 or more, before any operating packet",
        "S-9.2.4 §A (a text that was not at hand)",
        SHALL,
    ),
    87: ("none", "S-9.2.1 §C, Analog Function Group", SHALL),
    89: ("told", "S-9.2.1 §C, Binary State Control", REPORT),
    90: ("codes of the text", "S-9.2.1 §C", SHALL),
    13: ("none", "S-9.1 §C; S-9.2 §C", SHALL),
    14: ("at least 14 ones", "S-9.2 §A, Preamble (C2)", SHALL),
    15: ("0 before a byte, 1 at the end", "S-9.2 §A", DEFINED),
    16: ("0", "S-9.2 §B; S-9.2.1 §C", SHALL),
    17: ("at least 26 us", "S-9.2 §A footnote 3 (C14)", SHALL),
    18: ("in defined packets only", "S-9.2 §A (C7)", SHALL),
    19: ("FF 00 FF only", "S-9.2 §B, Idle", SHALL),
    21: ("at least 20000 us", "S-9.2 §B, Reset (C9)", SHALL),
    22: ("at most 30000 us", "S-9.2 §C (C12)", SHALL),
    23: ("at least 5000 us", "S-9.2 §C footnote 11 (C13)", SHALL),
    24: ("at least 5000 us", "S-9.2 §C (C13)", Force.DERIVED),
    20: ("told", "S-9.2 §B, Reset", REPORT),
    27: ("3 to 6 bytes", "S-9.2.1, introduction; §C (C3)", DEFINED),
    28: ("none", "S-9.2.1 §A", DERIVED),
    29: ("two address bytes and more", "S-9.2.1 §C, Address Byte", DEFINED),
    30: ("none", "S-9.2.1 §C", DERIVED),
    31: ("0", "S-9.2.1 §C, Consist Control", DEFINED),
    32: ("bit 3 is 0, CCCC is one of six", "S-9.2.1 §C, Set Decoder Flags (X12)", DERIVED),
    33: ("1", "S-9.2.1 §C, Analog Function Group", DERIVED),
    34: ("111", "S-9.2.1 §C, CV access long form", DEFINED),
    35: ("at most 1 instructions", "S-9.2.1 §C", SHALL),
    36: ("at most 1 instructions", "S-9.2.1 §C", SHALL),
    37: ("at most 1 instructions", "S-9.2.1 §C", SHALL),
    38: (
        "at least 10 packets",
        *("S-9.2.1 §C, Digital Decoder Reset (C8, X37)", SHALL),
    ),
    39: ("none", "S-9.2.1 §C, Factory Test", SHALL),
    40: ("none", "S-9.2.1 §C, Binary State Control (X21)", SHALL),
    41: ("2 or more, unless refreshed", "S-9.2.1 §C, Feature Expansion (X38)", SHALL),
    42: ("2", "S-9.2.1 §C, CV access long form", DERIVED),
    43: ("at most 30000 us", "S-9.2.1 §C footnote 7; S-9.2 §C", SHALL),
    44: ("none", "S-9.2.1 §C, CV access long form", DERIVED),
    45: ("0000, or C = 1 and the output", "S-9.2.1 §D, basic accessory CV access", DERIVED),
    46: (
        "0AAA0AA1 000XXXXX behind the first byte",
        *("S-9.2.1 §D, extended accessory (X33)", DEFINED),
    ),
    47: ("told: obeying them is the decoder's part", "S-9.2.1 §D, Broadcast", REPORT),
    48: ("told: to be used with caution", "S-9.2.1 Appendix A", Force.SHOULD),
    91: ("none", "S-9.2.1 §C, Set Decoder Flags", DERIVED),
    92: ("no service mode packet", "S-9.2.3 §C", DERIVED),
    88: ("at most 1 instructions", "S-9.2.1 §B", DERIVED),
    49: ("at least 20 ones", "S-9.2.3 §E, Long Preamble (P16, C2)", DEFINED),
    50: ("at least 20 packets", "S-9.2.3 §E, Power-On Cycle (P15)", SHALL),
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
    84: ("100 ms or less", "S-9.2.3 §B 3.", Force.SHOULD),
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
    assert derived == {5, 24, 28, 30, 32, 33, 42, 44, 45, 51, 52, 53, 88, 91, 92}
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
        ("48-58", (48, *sorted(set(RULES) & {*range(49, 59)}))),
        ("4-6,5,14-16", (4, 5, 6, 14, 15, 16)),
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


@pytest.mark.parametrize(("text", "part"), [("95", "95"), ("1, 95-99 ", "95-99"), ("5-3", "5-3")])
def test_numbers_that_are_no_rules(text: str, part: str) -> None:
    """The error holds the part that names none, and says where they are told."""
    bound = "numbers of rules"
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
