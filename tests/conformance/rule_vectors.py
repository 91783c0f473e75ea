"""The vectors of the rules: what each is shown by, as half-bits.

`PYTHONPATH=tests python tests/conformance/rule_vectors.py` writes them. They come
from the table of recordings by way of the generator that knows nothing of the library.
"""

from __future__ import annotations

import json
from itertools import groupby
from pathlib import Path
from typing import Any

import numpy as np
from test_conformance_table import CASES, PERIOD_NS, by_track

from dccwire.conformance import RULES

PATH = Path(__file__).parents[2] / "vectors/rules.json"
ABOUT = (
    "What each rule is shown by: half-bits from time 0 on, as pairs of a length in ns and how many "
    "there are of it in a row; 0 of them is a stretch without a level, behind which either may "
    "come. The session is what is known besides, as TOML."
)


def written() -> str:
    """The file: a line each case."""
    head = {"schema": 1, "family": "rules", "about": ABOUT}
    lines = [f" {json.dumps(name)}: {json.dumps(value)}," for name, value in head.items()]
    cases = ",\n".join(f"  {json.dumps(one, ensure_ascii=False)}" for one in _cases())
    return "\n".join(("{", *lines, ' "cases": [', cases, " ]", "}\n"))


def _cases() -> list[dict[str, Any]]:
    made = []
    for case in CASES:
        number, recording, verdict = case.values
        rule, signal = RULES[number], by_track(recording).sampled(PERIOD_NS, 0).plain()
        lengths = np.diff(np.append(signal.times, signal.end)).astype(int).tolist()
        spans = zip(lengths, (signal.levels < 0).tolist(), strict=True)
        runs = [(length, none, len([*some])) for (length, none), some in groupby(spans)]
        made.append(
            {
                "name": f"Rule {number}, {rule.quantity}: {verdict}.",
                "rule": number,
                "verdict": verdict.value,
                "session": recording.session,
                "resolution_ns": PERIOD_NS,
                "half_bits": [[length, 0 if none else count] for length, none, count in runs],
                "clause": rule.clause,
                "provenance": rule.provenance.value,
            }
        )
    return made


if __name__ == "__main__":
    PATH.write_text(written(), "utf-8")
