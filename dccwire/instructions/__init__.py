"""The instructions to multi-function decoders, a file a family of S-9.2.1 §C.

Every format is one layout line beside its class; importing this package enters them all in the
registry of `dccwire.formats`. `later` holds what is known from memory alone.
"""

# ruff: noqa: F403 - what a family exports is listed in its own file alone
from types import ModuleType as _Module

from dccwire.instructions.cv_access import *
from dccwire.instructions.decoder_control import *
from dccwire.instructions.function_groups import *
from dccwire.instructions.later import *
from dccwire.instructions.speed_and_direction import *

__all__ = [
    name
    for name, value in dict(globals()).items()
    if not name.startswith("_") and not isinstance(value, _Module)
]
