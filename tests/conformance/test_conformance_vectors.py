"""The vectors of the rules: judged from the file alone, each has its verdict."""

from __future__ import annotations

import json
import tomllib
from typing import Any

import numpy as np
import pytest
from rule_vectors import PATH, written

from dccwire.conformance import RULES, Session, check
from dccwire.recordings import Chunk

CASES = json.loads(PATH.read_text("utf-8"))["cases"]


def chunks_of(half_bits: list[list[int]]) -> list[Chunk]:
    """Edges, and stretches without a level, as anyone would read them."""
    chunks, edges, now = list[Chunk](), list[int](), 0
    for length, count in half_bits:
        for _ in range(count):
            edges.append(now)
            now += length
        if not count:
            chunks.append(Chunk(np.array(edges[1:] if not chunks else edges), (now, now + length)))
            edges, now = [], now + length
    return [*chunks, Chunk(np.array(edges[1:]))]


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["name"])
def test_a_recording_has_its_verdict(case: dict[str, Any]) -> None:
    """In its session, at its resolution."""
    session = Session.from_dict(tomllib.loads(case["session"]))
    report = check(
        chunks_of(case["half_bits"]), session=session, resolution_ns=case["resolution_ns"]
    )
    (found,) = [one for one in report.results if one.rule.number == case["rule"]]
    assert (found.verdict.value, found.rule.clause) == (case["verdict"], case["clause"])


def test_the_file_is_made_from_the_table() -> None:
    """`rule_vectors.py` writes it."""
    assert PATH.read_text("utf-8") == written()


def test_most_rules_have_vectors() -> None:
    """Those that a recording of levels can show."""
    assert len({case["rule"] for case in CASES}) > 60
    assert {case["rule"] for case in CASES} <= RULES.keys()
