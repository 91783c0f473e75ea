"""What a decoder answers to by its CVs: CV 29 bit 5 chooses CV 1 or CV 17 and 18 (S-9.2.2)."""

from __future__ import annotations

from collections.abc import Mapping

from dccwire.address import LongAddress, ShortAddress
from dccwire.cv.addresses import ConsistAddress, ExtendedAddress, PrimaryAddress
from dccwire.cv.changes import EXTENDED_BIT
from dccwire.cv.cv_set import CvKey
from dccwire.errors import FieldError
from dccwire.notation import address_text

__all__ = ["OwnAddress", "answers_after", "refuse_other_address"]

OwnAddress = ShortAddress | LongAddress
"""What a multi-function decoder can be addressed by."""


def refuse_other_address(old: Mapping[CvKey, int], address: object) -> OwnAddress:
    """The address, unless it is not the decoder's own as far as `old` tells.

    Raises:
        FieldError: it is no address of a multi-function decoder; `old` tells another one; or it is
            that of the decoder's consist, where long-form CV access has no place (S-9.2.1 §C), and
            CV 1 and 29 do not both say that it is its own as well.
    """
    if not isinstance(address, ShortAddress | LongAddress):
        raise FieldError("address", "a short or a long address", address)
    given_long = isinstance(address, LongAddress)
    is_long = bool(old[29] & EXTENDED_BIT) if 29 in old else given_long
    cvs = (17, 18) if is_long else (1,)
    told = {cv: old[cv] for cv in (*cvs, 29) if cv in old}
    says = " and ".join(f"CV {cv} = {value}" for cv, value in told.items())
    consist = ConsistAddress.from_cvs(old).address if 19 in old else 0
    at_consist = not given_long and address.number == consist
    hint = f"a write goes to its own, not the consist's of CV 19 = {old[19]}" if at_consist else ""
    if is_long is not given_long or not _fits(old, address):
        own = _own(old, is_long=is_long)
        name = address_text(own) if own else f"a {'long' if is_long else 'short'} address"
        raise FieldError("address", f"{name} by {says}", address_text(address), hint)
    if at_consist and len(told) < 2:
        bound = "one that CV 1 and CV 29 tell to be the decoder's own"
        raise FieldError("address", bound, address_text(address), hint)
    return address


def answers_after(cv: int, held: dict[int, int], before: OwnAddress) -> OwnAddress | None:
    """What the decoder answers to once a CV is written; None if what is held does not tell.

    A write of CV 1 clears bit 5 of CV 29 (S-9.2.3 §E), here in `held` too.
    """
    is_long = isinstance(before, LongAddress)
    if cv == 29:
        if bool(held[29] & EXTENDED_BIT) == is_long:
            return before
        is_long = not is_long
    elif cv == 1:
        held[29] = held.get(29, 0) & ~EXTENDED_BIT
        is_long = False
    elif cv != 18 or not is_long:
        return before
    return _own(held, is_long=is_long)


def _fits(cvs: Mapping[CvKey, int], address: OwnAddress) -> bool:
    """Whether the CVs of the address, where they are known, hold it."""
    value = ExtendedAddress if isinstance(address, LongAddress) else PrimaryAddress
    return all(cvs.get(cv, byte) == byte for cv, byte in value(address.number).to_cvs().items())


def _own(cvs: Mapping[CvKey, int] | Mapping[int, int], *, is_long: bool) -> OwnAddress | None:
    """The long or short address that the CVs hold; None if they hold none."""
    if is_long:
        both = 17 in cvs and 18 in cvs
        return ExtendedAddress.from_cvs(cvs).to_address() if both else None
    return PrimaryAddress.from_cvs(cvs).to_address() if cvs.get(1) else None
