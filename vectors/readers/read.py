"""The vectors in plain Python: where each kind of case belongs in the test of a codec."""

import json
from functools import reduce
from operator import xor
from pathlib import Path

count = wrong = 0
for path in sorted(Path(__file__).parent.parent.glob("*.json")):
    family = json.loads(path.read_text("utf-8"))
    assert family["schema"] == 1, f"{path.name}: another version"
    for case in family["cases"]:
        if "instructions" in case and "bytes" in case:
            # Your codec: decode(bytes, case["mode"]) gives case["address"] and
            # case["instructions"], and encoding these gives the same bytes.
            refused = False
        elif family["family"] == "refused":
            refused = True  # decode(bytes) refuses, for case["reason"]
        else:
            continue  # bits, numbers of pairs, steps, CVs, rules: README.md says what each has
        data = bytes.fromhex(case["bytes"])
        right = 3 <= len(data) <= 6 and reduce(xor, data, 0) == 0
        count, wrong = count + 1, wrong + (right == refused)
print(f"{count} packets, {wrong} otherwise than they should be")
raise SystemExit(wrong > 0)
