"""The instructions to multi-function decoders, a file a family of S-9.2.1 §C.

Every format is one layout line beside its class; importing this package enters them all in the
registry of `dccwire.formats`. `later` holds what is known from memory alone.
"""

# ruff: noqa: F403 - what a family exports is listed in its own file alone
from typing import TYPE_CHECKING

from dccwire.instructions import (
    cv_access,
    decoder_control,
    function_groups,
    later,
    speed_and_direction,
)
from dccwire.instructions.cv_access import *
from dccwire.instructions.decoder_control import *
from dccwire.instructions.function_groups import *
from dccwire.instructions.later import *
from dccwire.instructions.speed_and_direction import *

# mypy follows no list that is made of others; where there is none it takes all.
if not TYPE_CHECKING:  # pragma: no branch
    _FAMILIES = cv_access, decoder_control, function_groups, later, speed_and_direction
    __all__ = [name for family in _FAMILIES for name in family.__all__]
