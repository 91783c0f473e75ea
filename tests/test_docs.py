"""What the docs say of the code is made from it."""

from __future__ import annotations

import re
from codeop import compile_command
from doctest import DocTestParser
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

import dccwire
from dccwire.conformance import RULES
from dccwire.cv.values import VALUE_TYPES
from dccwire.faults import PLANTINGS
from dccwire.formats import FORMATS
from dccwire.layout import Layout

DOCS = Path(__file__).parent.parent / "docs"
VECTORS = DOCS.parent / "vectors"


@pytest.fixture(scope="module")
def conf() -> ModuleType:
    """The file that Sphinx runs."""
    spec = spec_from_file_location("conf", DOCS / "conf.py")
    assert spec is not None
    assert spec.loader is not None
    module = module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_table_of_rules_is_made_from_the_rules(conf: ModuleType) -> None:
    """A row each, with limit, clause, force and provenance, where the page has its place."""
    source = [(DOCS / "rules.md").read_text("utf-8")]
    conf.fill_in(None, "rules", source)
    rows = [line for line in source[0].splitlines() if line.startswith("| ")]
    for number, rule in RULES.items():
        parts = (rule.quantity, str(rule.limit), rule.clause, rule.force, rule.provenance)
        assert f"| {number} | {' | '.join(parts)} |" in rows
    assert "<!--" not in source[0]


def test_the_table_of_faults_is_made_from_what_can_be_planted(conf: ModuleType) -> None:
    """A row each, where the page has its place."""
    source = [(DOCS / "faults.md").read_text("utf-8")]
    conf.fill_in(None, "faults", source)
    rows = [line for line in source[0].splitlines() if line.startswith("| ")]
    for name, one in PLANTINGS.items():
        assert any(row.startswith(f"| {name} | {one.words} | ") for row in rows), name
    assert "<!--" not in source[0]


def test_the_command_lists_the_rules(capsys: pytest.CaptureFixture[str]) -> None:
    """The same at the terminal, within 80 columns."""
    from dccwire.cli import main

    assert main(["check", "--list"]) == 0
    shown = capsys.readouterr().out
    assert max(map(len, shown.splitlines())) <= 80
    words = " ".join(shown.split())
    for number, rule in RULES.items():
        assert f"{number} {rule.quantity}; {rule.limit}; {rule.clause}; {rule.force};" in words


def test_the_session_file_of_the_docs_is_one(tmp_path: Path) -> None:
    """It is read, and every key that there is stands in it."""
    from dccwire.conformance.session import _EXPECTED, _KEYS, _LOCOMOTIVE, read_session

    text = (DOCS / "session.md").read_text("utf-8").split("```toml\n")[1].split("```")[0]
    path = tmp_path / "session.toml"
    path.write_text(text)
    session = read_session(path)
    assert len(session.expectations) == 4
    assert (session.access, session.every_30_ms) == ("direct", True)
    keys = {line.split("=")[0].strip(" #[]") for line in text.splitlines() if "=" in line}
    assert {*_KEYS, *_EXPECTED, *_LOCOMOTIVE} - {"expect", "locomotive"} <= keys


def test_every_reading_that_is_cited_is_told() -> None:
    """Whoever meets a code, in a clause, a note or the source, finds it on one page, once."""
    rows = [
        line.split("|")[1]
        for line in (DOCS / "readings.md").read_text("utf-8").splitlines()
        if line.startswith("| ")
    ]
    told = [code for row in rows for code in re.findall(r"[CEMPVX]\d{1,2}", row)]
    package = DOCS.parent / "dccwire"
    cited = {
        code
        for path in (*package.rglob("*.py"), DOCS / "rules.md")
        for code in re.findall(r"\b[CEMPVX]\d{1,2}\b", path.read_text("utf-8"))
    }
    clauses = (
        clause
        for path in VECTORS.glob("*.json")
        for clause in re.findall('"clause": "([^"]*)"', path.read_text("utf-8"))
    )
    cited |= {code for clause in clauses for code in re.findall(r"\b[CEMPVX]\d{1,2}\b", clause)}
    assert len(told) == len(set(told))
    assert cited - set(told) == set()
    assert len(cited) > 50


def test_every_format_is_in_the_docs_bit_by_bit(conf: ModuleType) -> None:
    """Each with its layout line; the letters of its tables are those of the line, each once."""
    source = [(DOCS / "formats.md").read_text("utf-8") + (DOCS / "cvs.md").read_text("utf-8")]
    conf.fill_in(None, "formats", source)
    assert "<!--" not in source[0]
    sections = re.split(r"\n##+ ", source[0])
    declared = [one.cls for one in FORMATS] + [*VALUE_TYPES.values()]
    for cls in declared:
        (section,) = [one for one in sections if one.startswith(f"{cls.__name__}\n")]
        assert f"`{cls.layout.line}`" in section
        shown = "".join(re.findall(r"^\| `(\w+)` \|", section, re.MULTILINE))
        assert shown == re.sub("[01 ]", "", cls.layout.line)


def test_a_changed_layout_changes_the_docs(conf: ModuleType, monkeypatch: Any) -> None:
    """Nothing else has to be edited."""
    (one,) = [each for each in FORMATS if each.cls.__name__ == "CvAccessLongForm"]
    before = "\n".join(conf.formats_in_words())
    fields = {"operation": "C", "cv": "V + 2", "value": "D"}
    monkeypatch.setattr(one.cls, "layout", Layout(one.layout.line, fields))
    after = "\n".join(conf.formats_in_words())
    assert before != after
    assert "2 to 1025" in after


def test_the_first_page_leads_to_every_other() -> None:
    """In its body, since a narrow screen hides the menu; and the menu has each of them once."""
    body, *menus = (DOCS / "index.md").read_text("utf-8").split("```{toctree}")
    linked = re.findall(r"\]\(([a-z-]+)\.md\)", body)
    listed = [name for menu in menus for name in re.findall("^[a-z-]+$", menu, re.MULTILINE)]
    pages = {path.stem for path in DOCS.glob("*.md")} - {"index"}
    assert sorted(linked) == sorted(listed) == sorted(pages)


def test_pictures_are_drawn_where_pages_have_their_names(conf: ModuleType) -> None:
    """From the bytes, when the pages are built."""
    source = [(DOCS / "tutorial.md").read_text("utf-8")]
    conf.fill_in(None, "tutorial", source)
    assert dccwire.explain(bytes.fromhex("377443")).svg().strip() in source[0]
    assert "<!--" not in source[0]


@pytest.mark.parametrize("page", [*sorted(DOCS.glob("*.md")), DOCS.parent / "README.md"])
def test_examples_can_be_pasted_without_their_prompts(page: Path) -> None:
    """At a prompt of Python a block ends with an empty line: `...` alone, or what is behind all."""
    text = page.read_text("utf-8")
    lines = text.splitlines()
    for example in DocTestParser().get_examples(text):
        statement = example.source.rstrip("\n")
        if compile_command(statement) is None:
            after = example.lineno + statement.count("\n") + 1
            behind = after + example.want.count("\n")
            assert lines[after] == "..." or not lines[behind], f"line {after + 1}"
