"""The layouts of all formats as data for any language; `python tests/vector_formats.py` writes.

All of it comes from the registry; what each key says stands in `vectors/README.md`.
"""

import json
from inspect import getdoc
from pathlib import Path
from typing import Any

from dccwire.address import Mode
from dccwire.codebook import FORMATS, RESERVED
from dccwire.fields import FieldKind, Functions, Number
from dccwire.formats import Format, PacketPart, Provenance, Reserved
from dccwire.layout import Layout

PATH = Path(__file__).parent.parent / "vectors" / "formats.json"


def field(layout: Layout, name: str, kind: FieldKind) -> dict[str, Any]:
    """Where a field's bits stand, the most significant first, and what their number means."""
    bits = sorted((bit for bit in layout.bits if bit.field == name), key=lambda bit: -bit.weight)
    lowest, highest = layout.fields[name].lowest, layout.fields[name].highest
    values: dict[str, Any] = {"lowest": lowest, "highest": highest}
    if isinstance(kind, Functions):
        values = {"functions": list(kind.names)}
    elif kind.table is not None:
        values = {"table": [[number, kind.plain(one)] for number, one in kind.table.items()]}
    turned = [bit.position for bit in bits if bit.inverted]
    return {"bits": [bit.position for bit in bits], "turned": turned, "added": lowest} | values


def address(form: Format) -> dict[str, Any] | None:
    """What an accessory's packet says of its address: the bits, or that it goes to all."""
    if form.address is None:
        return None
    if "address" in form.layout.fields:
        return {"kind": form.address.kind} | field(form.layout, "address", Number())
    return {"kind": form.address.kind, "number": form.address.bound[-1]}


def case(form: Format) -> dict[str, Any]:
    cls: type[PacketPart] = form.cls
    return {
        "name": (getdoc(cls) or "").split("\n\n")[0].replace("\n", " "),
        "type": cls.__name__,
        "layout": form.layout.line,
        "modes": [mode.value for mode in Mode if form.stands_in(mode)],
        "to": sorted(one.name.lower() for one in form.partitions),
        "opens": form.address is not None or form.mode is Mode.SERVICE,  # whole packets (X24)
        "ends": form.ends,
        "reading": form.reading or None,
        "address": address(form),
        "fields": {name: field(form.layout, name, kind) for name, kind in cls.kinds.items()},
        "clause": form.clause,
        "provenance": form.provenance.value,
    }


def reserved() -> list[dict[str, Any]]:
    return [
        {
            "name": "A code that is reserved.",
            "type": Reserved.__name__,
            "layout": layout.line,
            "modes": [mode.value for mode in Mode],
            "to": sorted(one.name.lower() for one in partitions),
            "opens": False,
            "ends": True,
            "reading": None,
            "address": None,
            "fields": {},
            "clause": clause,
            "provenance": Provenance.PUBLISHED.value,
        }
        for layout, clause, partitions in RESERVED
    ]


def written() -> str:
    """The text of the file: a line a format, in the order in which they are declared."""
    about = "Which bits make which instruction, and which accessory packet."
    head = json.dumps({"schema": 1, "family": "formats", "about": about}, indent=2)[:-2]
    cases = (*map(case, FORMATS), *reserved())
    lines = ",\n".join(f"    {json.dumps(one, ensure_ascii=False)}" for one in cases)
    return f'{head},\n  "cases": [\n{lines}\n  ]\n}}\n'


if __name__ == "__main__":
    PATH.write_text(written(), "utf-8")
