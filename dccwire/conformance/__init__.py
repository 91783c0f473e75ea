"""Judge whether a recorded track signal keeps the standard: rules, verdicts, the report.

A verdict comes with the clause, the limit, the worst value, the count, the first times, and with
what the recording's resolution leaves open. Needs numpy (`pip install 'dccwire[capture]'`).
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

import dccwire.recordings  # noqa: F401 - asks for numpy first: one clear line if it is absent
from dccwire.conformance.addresses import AddressRow
from dccwire.conformance.causes import Cause
from dccwire.conformance.checking import check, merge
from dccwire.conformance.expectations import Expectation, ExpectationResult
from dccwire.conformance.histogram import Histogram
from dccwire.conformance.judging import Terms
from dccwire.conformance.parts import Part
from dccwire.conformance.report import Report, RuleResult
from dccwire.conformance.rules import RULES, Force, Rule, Verdict, choose_rules, rules_in_words
from dccwire.conformance.session import Locomotive, Session, read_session

if TYPE_CHECKING:
    from dccwire.conformance.reports.evidence import Evidence, evidence_of
    from dccwire.conformance.reports.html import html_of
    from dccwire.conformance.reports.junit import junit_of

__all__ = [
    "RULES",
    "AddressRow",
    "Cause",
    "Evidence",
    "Expectation",
    "ExpectationResult",
    "Force",
    "Histogram",
    "Locomotive",
    "Part",
    "Report",
    "Rule",
    "RuleResult",
    "Session",
    "Terms",
    "Verdict",
    "check",
    "choose_rules",
    "evidence_of",
    "html_of",
    "junit_of",
    "merge",
    "read_session",
    "rules_in_words",
]

_LATER = {
    "Evidence": "reports.evidence",
    "evidence_of": "reports.evidence",
    "html_of": "reports.html",
    "junit_of": "reports.junit",
}
"""What judging does without, loaded when first asked for: names to their files."""


def __getattr__(name: str) -> Any:
    if name not in _LATER:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_LATER[name]}"), name)
