"""Consists: units that run as one, each with an address of its own.

What goes in: address, direction, position, functions by what they do, speed steps. What comes out:
CV 19 to 22 of each unit, the packets that make the consist and end it, who obeys what at which
address, and what does not go together.

>>> from dccwire.consists import Consist, Unit
>>> from dccwire import LongAddress, ShortAddress
>>> lead = Unit(ShortAddress(21), "lead", {"headlight": "FL-forward", "bell": "F1"})
>>> trailing = Unit(LongAddress(1205), "trailing", {"rear light": "FL-reverse"}, reversed=True)
>>> consist = Consist(10, (lead, trailing))
>>> [dict(cvs) for cvs in consist.cvs]
[{19: 10, 21: 1, 22: 1}, {19: 138, 21: 0, 22: 1}]

Try a consist at a standstill, on a closed loop or against a stop block. While a unit is in a
consist, a stop or an emergency stop sent to its own address is not obeyed (S-9.2.1 §C, Consist
Control): stop the consist's address, or all by a broadcast. An emergency stop sent is not one
obeyed; no packet is a safety device.
"""

from dccwire.consists.conflicts import Conflict, ConflictReason, conflicts
from dccwire.consists.obedience import Cell, Obedience, Row, obedience
from dccwire.consists.packets import by_consist_control, by_writes, way_out
from dccwire.consists.reading import consist_from_toml
from dccwire.consists.units import Consist, Unit

__all__ = [
    "Cell",
    "Conflict",
    "ConflictReason",
    "Consist",
    "Obedience",
    "Row",
    "Unit",
    "by_consist_control",
    "by_writes",
    "conflicts",
    "consist_from_toml",
    "obedience",
    "way_out",
]
