"""A report as JUnit XML, as test suites and servers read it: a test case a rule.

What counts as not well fails its case; what was not judged is skipped. Room: a report in, text out.
"""

from __future__ import annotations

from xml.etree import ElementTree

from dccwire.conformance.report import Report, RuleResult
from dccwire.conformance.rules import Verdict

_SKIPPED = (Verdict.NOT_EXERCISED, Verdict.NOT_DECIDABLE, Verdict.UNDECIDED)


def junit_of(report: Report, *, strict: bool = False, certain: bool = False) -> str:
    """The XML of a report; `strict` and `certain` are the options of `dccwire check`."""
    cases = []
    for one in report.results:
        case = ElementTree.Element("testcase", classname=one.rule.chapter, time="0")
        case.set("name", f"rule {one.rule.number}: {one.rule.quantity}")
        fails = one.verdict is Verdict.FAIL and (one.binding or strict)
        _judge(case, one.verdict, _words(one), fails=fails, certain=certain)
        cases.append(case)
    for each in report.expectations:
        case = ElementTree.Element("testcase", classname="expected", time="0")
        case.set("name", str(each.expectation))
        words = "; ".join(filter(None, (f"{each.count} seen", each.nearest, each.note)))
        fails = each.verdict is Verdict.FAIL
        _judge(case, each.verdict, words, fails=fails, certain=certain)
        cases.append(case)
    suite = ElementTree.Element("testsuite", name=f"dccwire check {report.source}", errors="0")
    suite.set("tests", str(len(cases)))
    suite.set("time", f"{report.duration_ns / 1e9:.3f}")
    for kind, attribute in (("failure", "failures"), ("skipped", "skipped")):
        suite.set(attribute, str(sum(case.find(kind) is not None for case in cases)))
    suite.extend(cases)
    ElementTree.SubElement(suite, "system-out").text = report.text()
    ElementTree.indent(suite)
    return ElementTree.tostring(suite, "unicode", xml_declaration=True) + "\n"


def _judge(
    case: ElementTree.Element, verdict: Verdict, words: str, *, fails: bool, certain: bool
) -> None:
    if fails or (certain and verdict is Verdict.UNDECIDED):
        ElementTree.SubElement(case, "failure", message=words, type=verdict.value)
    elif verdict in _SKIPPED:
        ElementTree.SubElement(case, "skipped", message=f"{verdict}{': ' * bool(words)}{words}")


def _words(one: RuleResult) -> str:
    """What a case says: the limit, what was found, the first times and the clause."""
    times = ", ".join(f"{time / 1e6:.3f} ms" for time in one.first_times_ns)
    told = (
        f"{one.rule.limit}",
        f"worst {one.worst}" * bool(one.worst),
        f"{one.failed} of {one.measured} failed" * bool(one.failed),
        f"at {times}" * bool(times),
        one.note,
        one.rule.clause,
    )
    return "; ".join(filter(None, told))
