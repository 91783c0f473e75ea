"""What configuration variables (CVs) hold, S-9.2.2: typed values, computations, sets of CVs.

>>> from dccwire import cv
>>> cv.Configuration.from_cvs({29: 38}).extended_addressing
True
>>> cv.ExtendedAddress(1205).to_cvs()
{17: 196, 18: 181}

Two cautions before any CV is written: on the main, a write changes every decoder at that address;
a programming track is limited in energy (S-9.2.3 §B). Everything here is pure: no files, no track.
"""

from types import ModuleType as _Module

# What the files export is what is exported here: a name is listed once, where it is defined.
from dccwire.cv.accessories import *  # noqa: F403
from dccwire.cv.addresses import *  # noqa: F403
from dccwire.cv.catalogue import *  # noqa: F403
from dccwire.cv.changes import *  # noqa: F403
from dccwire.cv.configuration import *  # noqa: F403
from dccwire.cv.cv_set import *  # noqa: F403
from dccwire.cv.explanation import *  # noqa: F403
from dccwire.cv.functions import *  # noqa: F403
from dccwire.cv.motor import *  # noqa: F403
from dccwire.cv.paging import *  # noqa: F403
from dccwire.cv.speed_curves import *  # noqa: F403
from dccwire.cv.values import *  # noqa: F403

__all__ = [
    name
    for name, value in dict(globals()).items()
    if not name.startswith("_") and not isinstance(value, _Module)
]
