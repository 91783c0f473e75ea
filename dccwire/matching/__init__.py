r"""Speed matching: from measured speeds of two or more units, the tables that make them run alike.

Matching units of a consist at several of their steps, and how, is common practice, no source; that
CV 67 to 94 hold 28 voltages which CV 66 and 95 scale is S-9.2.2. Needs numpy (`pip install
'dccwire[capture]'`).

>>> from dccwire.matching import from_csv, match
>>> rows = ["short 3,1,forward,8", "short 3,28,forward,224", "short 5,1,forward,4"]
>>> text = "\n".join(["address,step,direction,mm_s", *rows, "short 5,28,forward,448"])
>>> matching = match(from_csv(text, scale=87))
>>> [one.table.points[::9] for one in matching.units]
[(9, 91, 173, 255), (11, 51, 91, 131)]
>>> round(max(matching.remaining), 2)
1.17

A locomotive under test runs on a closed loop, or towards a stop block. No packet is a safety
device. Rooms: `readings` what was measured, `files` the same as text, `voltages` what the CVs gave
the motor meanwhile, `curves` speed by voltage, `fit` the tables, `result` what comes of them,
`report` and `picture` the same for people.
"""

from importlib.util import find_spec

from dccwire.errors import MissingPartError

# Asked for before anything is imported, so that its absence gets one clear line.
if find_spec("numpy") is None:
    raise MissingPartError("numpy", "capture")

from dccwire.matching.files import from_csv, from_toml
from dccwire.matching.fit import match
from dccwire.matching.readings import Measurements, Reading, Unit, scale_km_h
from dccwire.matching.result import MatchedUnit, Matching, Run, Shape

__all__ = [
    "MatchedUnit",
    "Matching",
    "Measurements",
    "Reading",
    "Run",
    "Shape",
    "Unit",
    "from_csv",
    "from_toml",
    "match",
    "scale_km_h",
]
