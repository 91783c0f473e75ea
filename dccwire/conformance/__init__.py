"""Judge whether a recorded track signal keeps the standard: rules, verdicts, the report.

A verdict comes with the clause, the limit, the worst value, the count, the first times, and with
what the recording's resolution leaves open. Needs numpy (`pip install 'dccwire[capture]'`).
"""

import dccwire.recordings  # noqa: F401 - asks for numpy first: one clear line if it is absent
from dccwire.conformance.addresses import AddressRow
from dccwire.conformance.checking import check
from dccwire.conformance.expectations import Expectation, ExpectationResult
from dccwire.conformance.histogram import Histogram
from dccwire.conformance.junit import junit_of
from dccwire.conformance.report import Report, RuleResult
from dccwire.conformance.report_html import html_of
from dccwire.conformance.rules import RULES, Force, Rule, Verdict, choose_rules, rules_in_words
from dccwire.conformance.session import Locomotive, Session, read_session

__all__ = [
    "RULES",
    "AddressRow",
    "Expectation",
    "ExpectationResult",
    "Force",
    "Histogram",
    "Locomotive",
    "Report",
    "Rule",
    "RuleResult",
    "Session",
    "Verdict",
    "check",
    "choose_rules",
    "html_of",
    "junit_of",
    "read_session",
    "rules_in_words",
]
