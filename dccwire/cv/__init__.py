"""What configuration variables (CVs) hold, S-9.2.2: typed values, computations, sets of CVs.

>>> from dccwire import cv
>>> cv.Configuration.from_cvs({29: 38}).extended_addressing
True
>>> cv.ExtendedAddress(1205).to_cvs()
{17: 196, 18: 181}

Two cautions before any CV is written: on the main, a write changes every decoder at that address;
a programming track is limited in energy (S-9.2.3 §B). Everything here is pure: no files, no track.
"""

# ruff: noqa: F403 - what a file exports is listed there alone
from types import ModuleType as _Module

from dccwire.cv.accessories import *
from dccwire.cv.addresses import *
from dccwire.cv.catalogue import *
from dccwire.cv.changes import *
from dccwire.cv.configuration import *
from dccwire.cv.cv_set import *
from dccwire.cv.description import *
from dccwire.cv.description_reading import *
from dccwire.cv.explanation import *
from dccwire.cv.functions import *
from dccwire.cv.motor import *
from dccwire.cv.overview import *
from dccwire.cv.paging import *
from dccwire.cv.speed_curves import *
from dccwire.cv.value_text import *
from dccwire.cv.values import *

__all__ = [
    name
    for name, value in dict(globals()).items()
    if not name.startswith("_") and not isinstance(value, _Module)
]
