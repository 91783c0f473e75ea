"""What configuration variables (CVs) hold, S-9.2.2: typed values, computations, sets of CVs.

>>> from dccwire import cv
>>> cv.Configuration.from_cvs({29: 38}).extended_addressing
True
>>> cv.ExtendedAddress(1205).to_cvs()
{17: 196, 18: 181}

Two cautions before any CV is written: on the main, a write changes every decoder at that address;
a programming track is limited in energy (S-9.2.3 §B). Everything here is pure: no files, no track.
"""

from dccwire.cv import (
    accessories,
    addresses,
    configuration,
    functions,
    memory,
    momentum,
    motor,
    speed_table,
)
from dccwire.cv.accessories import *  # noqa: F403 - its __all__ is part of ours
from dccwire.cv.addresses import *  # noqa: F403 - its __all__ is part of ours
from dccwire.cv.catalogue import READ_ONLY, CvEntry, CvStatus, catalogue, entry
from dccwire.cv.changes import CvChange, CvWrite, difference, writes
from dccwire.cv.configuration import *  # noqa: F403 - its __all__ is part of ours
from dccwire.cv.consist import (
    COMMON_PRACTICE,
    Answers,
    ConsistUnit,
    UnitPosition,
    consist_functions,
)
from dccwire.cv.cv_set import CvKey, CvSet, IndexedCv, key_from_text
from dccwire.cv.explanation import (
    CvExplanation,
    CvReading,
    describe,
    explain_cvs,
    explain_value,
    value_types,
)
from dccwire.cv.functions import *  # noqa: F403 - its __all__ is part of ours
from dccwire.cv.memory import *  # noqa: F403 - its __all__ is part of ours
from dccwire.cv.momentum import *  # noqa: F403 - its __all__ is part of ours
from dccwire.cv.motor import *  # noqa: F403 - its __all__ is part of ours
from dccwire.cv.notation import VALUE_TYPES, value_from_plain, value_from_text, value_to_plain
from dccwire.cv.paging import RegisterPage, cv_of, page_of
from dccwire.cv.rows import CvRow, rows_of
from dccwire.cv.set_text import from_csv, from_json, to_csv, to_json
from dccwire.cv.speed_table import *  # noqa: F403 - its __all__ is part of ours
from dccwire.cv.values import CvValue, DecoderKind

__all__ = [
    "COMMON_PRACTICE",
    "READ_ONLY",
    "VALUE_TYPES",
    "Answers",
    "ConsistUnit",
    "CvChange",
    "CvEntry",
    "CvExplanation",
    "CvKey",
    "CvReading",
    "CvRow",
    "CvSet",
    "CvStatus",
    "CvValue",
    "CvWrite",
    "DecoderKind",
    "IndexedCv",
    "RegisterPage",
    "UnitPosition",
    "catalogue",
    "consist_functions",
    "cv_of",
    "describe",
    "difference",
    "entry",
    "explain_cvs",
    "explain_value",
    "from_csv",
    "from_json",
    "key_from_text",
    "page_of",
    "rows_of",
    "to_csv",
    "to_json",
    "value_from_plain",
    "value_from_text",
    "value_to_plain",
    "value_types",
    "writes",
]
__all__ += accessories.__all__
__all__ += addresses.__all__
__all__ += configuration.__all__
__all__ += functions.__all__
__all__ += memory.__all__
__all__ += momentum.__all__
__all__ += motor.__all__
__all__ += speed_table.__all__
