"""How many packets the standard demands: the table, and that it cannot be undercut."""

from dataclasses import fields

import pytest

from dccwire.errors import FieldError
from dccwire.programming import (
    Counts,
    DirectCounts,
    DirectCv,
    HardResetCounts,
    MainCounts,
    PagedCv,
    Register,
    RegisterCounts,
    Setup,
    verify_byte,
)
from refusals import refused

TYPES = [Counts, DirectCounts, RegisterCounts, HardResetCounts, MainCounts]


@pytest.mark.parametrize(
    ("type_", "name", "least", "clause"),
    [
        (Counts, "preamble", 20, "S-9.2.3 §E, Long Preamble"),
        (Counts, "power_on", 20, "S-9.2.3 §E, Power-On Cycle"),
        (Counts, "resets", 3, "S-9.2.3 §E"),
        (Counts, "page_writes", 5, "S-9.2.3 §E, Paged CV Addressing; Page Preset"),
        (Counts, "page_recovery", 6, "S-9.2.3 §E, Paged CV Addressing; Page Preset"),
        (Counts, "verifies", 5, "S-9.2.3 §E"),
        (Counts, "writes", 5, "S-9.2.3 §E"),
        (Counts, "recovery", 6, "S-9.2.3 §E, Decoder Recovery Time"),
        (
            Counts,
            "long_recovery",
            10,
            "S-9.2.3 §E, Address-Only Mode; Physical Register Addressing",
        ),
        (DirectCounts, "acknowledged_resets", 1, "S-9.2.3 §E, Direct Mode"),
        (RegisterCounts, "verifies", 7, "S-9.2.3 §E, Physical Register Addressing"),
        (Counts, "acknowledged_resets", 0, "the standard asks for it in direct mode alone"),
        (Counts, "between_cvs", 0, "the standard asks for none"),
        (HardResetCounts, "preamble", 20, "S-9.2.3 §E, Long Preamble"),
        (HardResetCounts, "power_on", 20, "S-9.2.3 §E, Power-On Cycle"),
        (HardResetCounts, "hard_resets", 1, "S-9.2.3 §E, Hard-Reset-Cycle"),
        (HardResetCounts, "after", 10, "S-9.2.3 §E, Hard-Reset-Cycle"),
        (MainCounts, "preamble", 14, "S-9.2 §A, Preamble"),
        (MainCounts, "writes", 2, "S-9.2.1 §C, CV access long form"),
        (
            MainCounts,
            "idles",
            1,
            "5 ms between packets to one address, S-9.2 §C and footnote 11; C13",
        ),
    ],
)
def test_a_count_can_be_raised_and_not_lowered(type_, name, least, clause) -> None:
    """The default is the minimum; the error names count, value, and the bound with its clause."""
    assert getattr(type_(), name) == least
    for count in (least, least + 1):
        assert getattr(type_(**{name: count}), name) == count
    with refused(FieldError, field=name, bound=f"{least} or more ({clause})", value=least - 1):
        type_(**{name: least - 1})


@pytest.mark.parametrize("type_", TYPES)
def test_a_count_is_a_whole_number_and_has_a_clause(type_) -> None:
    """True, 9.0 and None are none."""
    for one in fields(type_):
        assert one.metadata["clause"]
        for value in (True, 99.0, None):
            with refused(FieldError, field=one.name, value=value):
                type_(**{one.name: value})


@pytest.mark.parametrize(
    ("target", "counts", "bound"),
    [
        (DirectCv(1), Counts(), "DirectCounts"),
        (Register(1), DirectCounts(), "RegisterCounts"),
        (PagedCv(1), HardResetCounts(), "Counts"),
    ],
)
def test_counts_of_another_mode_are_refused(target, counts, bound) -> None:
    """They could be too low for this one."""
    with refused(FieldError, field="counts", bound=bound, value=counts):
        verify_byte(target, 0, Setup(counts))
