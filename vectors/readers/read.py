"""The vectors in plain Python: the exclusive OR of each packet, and what must be refused."""

import json
from functools import reduce
from operator import xor
from pathlib import Path

count = wrong = 0
for path in sorted(Path(__file__).parent.parent.glob("*.json")):
    family = json.loads(path.read_text("utf-8"))
    assert family["schema"] == 1, f"{path.name}: another version"
    for case in family["cases"]:
        if "bytes" not in case:  # numbers of pairs and of steps, not packets
            continue
        data = bytes.fromhex(case["bytes"])
        right = 3 <= len(data) <= 6 and reduce(xor, data, 0) == 0
        refused = family["family"] == "refused"
        count, wrong = count + 1, wrong + (right == refused)
        # Your codec: decode(data, case["mode"]) must give case["address"], case["instructions"],
        # and encoding these must give the same bytes; of a refused case case["reason"] says why.
print(f"{count} packets, {wrong} otherwise than they should be")
raise SystemExit(wrong > 0)
