"""A report as JUnit XML, as test suites and servers read it: a test case a rule.

What counts as not well fails its case; what was not judged is skipped, and so is what fails without
counting. The first case is the recording itself. Room: a report in, text out.
"""

from __future__ import annotations

from collections import Counter
from xml.etree import ElementTree

from dccwire.conformance.report import Report, RuleResult
from dccwire.conformance.reports.text import counts_of, of_causes
from dccwire.conformance.rules import Verdict
from dccwire.wording import counted, printable

_SKIPPED = (Verdict.NOT_EXERCISED, Verdict.NOT_DECIDABLE, Verdict.UNDECIDED)


def junit_of(report: Report, *, strict: bool = False, certain: bool = False) -> str:
    """The XML of a report; `strict` and `certain` are the options of `dccwire check`."""
    cases, told = [_whole(report, certain=certain)], of_causes(report)
    for one in report.results:
        case = ElementTree.Element("testcase", classname=one.rule.chapter, time="0")
        case.set("name", f"rule {one.rule.number}: {one.rule.quantity}")
        fails = one.verdict is Verdict.FAIL and (one.binding or strict or certain)
        words = _words(one, told.get(one.rule.number, ""))
        _judge(case, one.verdict, words, fails=fails, certain=certain)
        cases.append(case)
    asked = Counter[str]()
    for each in report.expectations:
        name = printable(str(each.expectation))
        asked[name] += 1  # a server knows a case by its name
        case = ElementTree.Element("testcase", classname="expected", time="0")
        case.set("name", f"{name} ({asked[name]})" if asked[name] > 1 else name)
        words = "; ".join(filter(None, (each.seen, each.nearest, each.note)))
        fails = each.verdict is Verdict.FAIL
        _judge(case, each.verdict, words, fails=fails, certain=certain)
        cases.append(case)
    name = f"dccwire check {printable(report.source)}"
    suite = ElementTree.Element("testsuite", name=name, errors="0")
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
        ElementTree.SubElement(case, "failure", message=printable(words), type=verdict.value)
    elif verdict in _SKIPPED or verdict is Verdict.FAIL:
        told = printable(f"{verdict}{': ' * bool(words)}{words}")
        ElementTree.SubElement(case, "skipped", message=told)


def _whole(report: Report, *, certain: bool) -> ElementTree.Element:
    """The case of the recording: whether it has packets, and was judged as far as it goes."""
    case = ElementTree.Element("testcase", classname="recording", name="what was read", time="0")
    unread = report.unread or (() if report.packets else (report.source,))
    if unread:
        words = f"no packet was read in {', '.join(unread)}"
        _judge(case, Verdict.FAIL, words, fails=True, certain=certain)
    elif report.stopped:
        _judge(case, Verdict.UNDECIDED, "judged in part", fails=False, certain=certain)
    elif report.not_judged:
        words = f"{counted(report.not_judged, 'half-bit')} of no packet, which no rule judged"
        _judge(case, Verdict.UNDECIDED, words, fails=False, certain=certain)
    elif certain and all(one.verdict is not Verdict.PASS for one in report.judged):
        words = "none of the rules passed"
        _judge(case, report.verdict, words, fails=True, certain=certain)
    return case


def _words(one: RuleResult, cause: str) -> str:
    """What a case says: the limit, what was found, the first times, the cause and the clause."""
    mild = "" if one.binding else f"of no 'shall', but {one.force or one.rule.force}"
    told = str(one.rule.limit), counts_of(one), one.note, cause, one.rule.clause, mild
    return "; ".join(filter(None, told))
