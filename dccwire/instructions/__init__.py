"""The instructions to multi-function decoders, one small file a family of S-9.2.1 §C.

Every format is one layout line beside its class; importing this package enters them all in the
registry of `dccwire.formats`. `later` holds what is known from memory alone.
"""

# ruff: noqa: F403 - what a family exports is listed in its own file alone
from typing import TYPE_CHECKING

from dccwire.instructions import (
    advanced_operations,
    binary_states,
    consist_control,
    cv_access,
    decoder_control,
    function_groups,
    idle,
    later,
    speed_and_direction,
)
from dccwire.instructions.advanced_operations import *
from dccwire.instructions.binary_states import *
from dccwire.instructions.consist_control import *
from dccwire.instructions.cv_access import *
from dccwire.instructions.decoder_control import *
from dccwire.instructions.function_groups import *
from dccwire.instructions.idle import *
from dccwire.instructions.later import *
from dccwire.instructions.speed_and_direction import *

_FAMILIES = (
    advanced_operations,
    binary_states,
    consist_control,
    cv_access,
    decoder_control,
    function_groups,
    idle,
    later,
    speed_and_direction,
)

# mypy follows no list that is made of others; where there is none it takes all.
if not TYPE_CHECKING:  # pragma: no branch
    __all__ = [name for family in _FAMILIES for name in family.__all__]
