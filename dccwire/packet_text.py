"""The one-line text of a packet, taken apart; errors have their place in the whole of it.

Room: text in; mode, address and instructions out, of which `packet` makes a packet.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from dccwire import notation
from dccwire.address import Address, Mode
from dccwire.errors import FieldError, Reason, TextError, place_in
from dccwire.formats import PacketPart

_ADDRESS = re.compile(rf"\s*({Mode.SERVICE.value}\s+)?([a-z-]+(\s+\d+)?)?")
"""What an address looks like, where no colon says how far it goes."""


def parts_from_text(text: str) -> tuple[Mode, Address, list[PacketPart]]:
    """Mode, address and instructions of a packet's text.

    Raises:
        TextError, FieldError: it is the text of no packet.

    >>> parts_from_text("idle: Idle")[1:]
    (IdleAddress(number=255), [Idle()])
    """
    head, colon, _ = text.partition(":")
    if not colon:
        place, hint = len(text) - len(_ADDRESS.sub("", text, 1)), "as in 'idle: Idle'"
        raise TextError(Reason.TEXT, text, place, "no colon after the address", hint)
    mode = Mode.OPERATIONS
    if head.split()[:1] == [Mode.SERVICE.value]:
        mode, head = Mode.SERVICE, head.replace(Mode.SERVICE.value, "", 1)
    try:
        address = notation.address_from_text(head)
    except FieldError as error:
        raise _placed(error, text, text.find(str(error.value))) from None
    return mode, address, [*_instructions(text, text.index(":") + 1)]


def _placed(error: FieldError, text: str, place: int) -> FieldError:
    """The same, with the place in the text."""
    hint = "; ".join(filter(None, (error.hint, place_in(text, place))))
    return FieldError(error.field, error.bound, error.value, hint)


def _instructions(text: str, at: int) -> Iterator[PacketPart]:
    """The instructions of a packet's text from a position on; errors count from its start."""
    if not text[at:].strip():
        return
    for part in text[at:].split(";"):
        try:
            yield notation.instruction_from_text(part)
        except TextError as error:
            place = at + error.position
            raise TextError(error.reason, text, place, error.problem, error.hint) from None
        except FieldError as error:
            named = part.find(f" {error.field}=") + 1
            place = at + (named or len(part) - len(part.lstrip()))
            raise _placed(error, text, place) from None
        at += len(part) + 1
