"""From one set of CVs to another: what differs, and what is to be written in which order.

What the new set does not mention stays as it is. Room: the order that a decoder accepts, what is
refused, and what the decoder answers to meanwhile (S-9.2.2); `dccwire.programming` makes packets.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

from dccwire.accessory import OLD_NUMBERS
from dccwire.address import LongAddress, ShortAddress
from dccwire.cv.addresses import ConsistAddress, ExtendedAddress, PrimaryAddress
from dccwire.cv.catalogue import catalogue
from dccwire.cv.configuration import Configuration
from dccwire.cv.cv_set import (
    POINTERS,
    CvKey,
    CvSet,
    IndexedCv,
    is_on_page,
    key_order,
    plain_cv,
    refuse_twice,
)
from dccwire.cv.description import KindOrDescription, kind_of
from dccwire.cv.paging import FIRST_PAGE
from dccwire.cv.values import DecoderKind, cv_name
from dccwire.errors import FieldError
from dccwire.notation import address_text, own_address
from dccwire.wording import either

__all__ = ["CvChange", "CvWrite", "difference", "writes"]

EXTENDED_BIT = Configuration(extended_addressing=True).to_cvs()[29]
"""CV 29 bit 5: the decoder answers to the address of CV 17 and 18."""

_LATE = frozenset({1, 15, 16, 17, 18, 19, 29})
"""What decides on the address, or locks: after all others."""

FACTORY_RESET = 8
"""Written to CV 8 it resets all CVs: in register mode by P11, else common practice, no source."""

RESET_CVS = {DecoderKind.MULTI_FUNCTION: (8,), DecoderKind.ACCESSORY: (8, OLD_NUMBERS + 8)}
"""Where that is written, by new and old number."""


@dataclass(frozen=True, slots=True)
class CvChange:
    """A CV whose value differs; None where a set does not have it."""

    key: CvKey
    old: int | None
    new: int | None

    def __str__(self) -> str:
        old, new = ("none" if one is None else one for one in (self.old, self.new))
        return f"{cv_name(self.key)}: {old} -> {new}"


@dataclass(frozen=True, slots=True)
class CvWrite:
    """One CV to write, and why where it is not just that it differs."""

    cv: int
    value: int
    why: str = ""


def difference(old: CvSet, new: CvSet) -> tuple[CvChange, ...]:
    """The CVs in which two sets differ, by number.

    >>> [str(one) for one in difference(CvSet({1: 3, 29: 6}), CvSet({1: 3, 29: 38, 3: 2}))]
    ['CV 3: none -> 2', 'CV 29: 6 -> 38']
    """
    return tuple(
        CvChange(key, old.get(key), new.get(key))
        for key in sorted({*old, *new}, key=key_order)
        if old.get(key) != new.get(key)
    )


def writes(
    old: CvSet,
    new: CvSet,
    *,
    force: Collection[int] = (),
    decoder: KindOrDescription = DecoderKind.MULTI_FUNCTION,
) -> tuple[CvWrite, ...]:
    """What to write, in order, so that a decoder that holds `old` holds `new` as well.

    A locked decoder (CV 15 and 16 of `old` differ) is unlocked first. Then come the CVs that stand
    alone, the indexed ones behind CV 31 and 32 of their page, and those two as the sets have them.
    What the address hangs on goes last: CV 17 and 18 as a pair, CV 1, then CV 19 and 29, which a
    write of CV 1 clears (29: bit 5), the lock at the end. S-9.2.2; S-9.2.3 §E for CV 1. Accessory
    decoders have none of that, but for index pages.

    A plain CV 257 to 512 of `new` is written if its value differs, and also if CV 31 or 32 of `new`
    are not those of `old`: it is on another page then. Where neither set tells CV 31 and 32, they
    are left at the page of the last indexed CV.

    `force` names those of CV 7 and 8 (8 and 520 of an accessory decoder) that are written although
    they are read-only. A forced 8 in CV 8 (`FACTORY_RESET`) undoes what was written before; it
    comes last, but for the lock, which would bar it. What another number does, its maker says.

    Raises:
        FieldError: a read-only CV differs and is not in `force`; CV 17 is to be written without a
            value for CV 18, or the other way round; CV 1 is to be written while neither set tells
            CV 19 or 29, which it clears; CV 1, 17 or 31 would get an illegal value; a CV of `new`
            is there twice, plain and indexed; or CV 31 or 32 is needed and not known.

    >>> [(one.cv, one.value) for one in writes(CvSet({19: 0, 29: 38}), CvSet({1: 7}))]
    [(1, 7), (29, 38)]
    """
    kind = kind_of(decoder)
    _refuse_read_only(old, new, force, kind)
    plan = _Plan(old, new, kind)
    _refuse_pages(new, plan.goal, plan.changed)
    if plan.multi:
        _refuse_address_cvs(plan.goal, plan.changed)
    return tuple(plan.made())


def _refuse_read_only(old: CvSet, new: CvSet, force: Collection[int], decoder: DecoderKind) -> None:
    """Refuse to write what is read-only unless it is forced (S-9.2.2), and to force any other."""
    read_only = [one.first for one in catalogue(decoder) if one.read_only]
    for cv in force:
        if cv not in read_only:
            raise FieldError("force", either(read_only), cv)
    for cv in read_only:
        if cv not in force and new.get(cv) not in (None, old.get(cv)):
            hint = "it is read-only, and `force` does not name it"
            raise FieldError(f"CV {cv}", "no write", new[cv], hint)


def _refuse_pages(new: CvSet, goal: Mapping[CvKey, int], changed: Collection[CvKey]) -> None:
    """Refuse CV 257 to 512 of no certain page, or of a reserved one (S-9.2.2, CV 31 and 32).

    Behind an indexed one the page of the plain ones must be set again, so it has to be known.
    """
    pointers: dict[CvKey, int] = {cv: goal[cv] for cv in POINTERS if cv in goal}
    refuse_twice({**new, **pointers})
    for key in changed:
        if is_on_page(key) and goal.get(31, FIRST_PAGE) < FIRST_PAGE:
            hint = f"CV {key} is on its index page"
            raise FieldError("CV 31", f"{FIRST_PAGE} to 255", goal[31], hint)
    plain = next(filter(is_on_page, goal), None)
    indexed = next((key for key in changed if isinstance(key, IndexedCv)), None)
    for cv in POINTERS:
        if cv not in goal and plain is not None and indexed is not None:
            hint = f"it leads back to the page of CV {plain} after {indexed}"
            raise FieldError(f"CV {cv}", "a value", None, hint)


def _refuse_address_cvs(goal: Mapping[CvKey, int], changed: Collection[CvKey]) -> None:
    """Refuse illegal values of CV 1, 17 and 18, and to clear by CV 1 what is unknown."""
    if {17, 18} & set(changed):
        ExtendedAddress.from_cvs(goal)
    if 1 in changed:
        PrimaryAddress.from_cvs(goal)
        if unknown := [f"CV {cv}" for cv in (19, 29) if cv not in goal]:
            hint = "a write of CV 1 clears CV 19 and bit 5 of CV 29"
            raise FieldError(" and ".join(unknown), "a value in one of the sets", None, hint)


class _Plan:
    """The writes as they are made, and what the decoder holds meanwhile."""

    def __init__(self, old: CvSet, new: CvSet, decoder: DecoderKind) -> None:
        self.held: dict[CvKey, int] = dict(old)
        self.goal: dict[CvKey, int] = {**old, **new}
        differ = [key for key in new if old.get(key) != new[key]]
        turned = not {*POINTERS}.isdisjoint(differ)
        self.changed = [key for key in new if key in differ or (turned and is_on_page(key))]
        self.multi, self.reset = decoder is DecoderKind.MULTI_FUNCTION, RESET_CVS[decoder]

    def made(self) -> Iterator[CvWrite]:
        late = _LATE if self.multi else frozenset[int]()
        if self.multi and self.changed not in ([], [15]):
            yield from self._unlock()
        later = {*late, *POINTERS, *self.reset, *filter(is_on_page, self.changed)}
        for key in self.changed:
            if isinstance(key, int) and key not in later:
                yield self._write(key)
        yield from self._indexed()
        if self.multi:
            yield from self._addresses()
        for cv in self.reset:
            if cv in self.changed:
                resets = self.goal[cv] == FACTORY_RESET
                yield self._write(cv, "a factory reset of all CVs" if resets else "")
        if self.multi:
            yield from self._wanted(16)
            yield from self._wanted(15)

    def _write(self, key: CvKey, why: str = "") -> CvWrite:
        self.held[key] = self.goal[key]
        return CvWrite(plain_cv(key), self.goal[key], why)

    def _wanted(self, cv: int, why: str = "") -> Iterator[CvWrite]:
        """The CV, if the decoder does not hold what it shall."""
        if cv in self.goal and self.held.get(cv) != self.goal[cv]:
            yield self._write(cv, why)

    def _unlock(self) -> Iterator[CvWrite]:
        key, number = self.held.get(15), self.held.get(16)
        if key is not None and number is not None and key != number:
            self.held[15] = number
            yield CvWrite(15, number, "unlocks the decoder: CV 15 as CV 16")

    def _indexed(self) -> Iterator[CvWrite]:
        plain = list(filter(is_on_page, self.changed))
        if plain:
            for cv in POINTERS:
                yield from self._wanted(cv, "before the indexed CVs that depend on it")
        yield from map(self._write, plain)
        for key in self.changed:
            if isinstance(key, IndexedCv):
                for cv, value in zip(POINTERS, (key.high, key.low), strict=True):
                    if self.held.get(cv) != value:
                        self.held[cv] = value
                        yield CvWrite(cv, value, f"index page of {cv_name(key)}")
                yield self._write(key)
        for cv in POINTERS:
            yield from self._wanted(cv)

    def _addresses(self) -> Iterator[CvWrite]:
        if {17, 18} & set(self.changed):
            yield self._write(17, "takes effect with CV 18")
            yield self._write(18, "the pair with CV 17")
        why = ""
        if 1 in self.changed:
            yield self._write(1, "clears CV 19, and bit 5 of CV 29")
            why = "after CV 1, which clears it or a bit of it"
            self.held[19] = 0
            if 29 in self.held:  # else only `new` has it, and it is written
                self.held[29] &= ~EXTENDED_BIT
        yield from self._wanted(19, why)
        if (self.held.get(29, 0) ^ self.goal.get(29, 0)) & EXTENDED_BIT:
            why = "bit 5: the decoder answers to its other address then"
        yield from self._wanted(29, why)


OwnAddress = ShortAddress | LongAddress
"""What a multi-function decoder can be addressed by."""


def refuse_other_address(old: Mapping[CvKey, int], address: object) -> OwnAddress:
    """The address, unless it is not the decoder's own as far as `old` tells.

    Raises:
        FieldError: it is no address of a multi-function decoder; `old` tells another one; or it is
            that of the decoder's consist, where long-form CV access has no place (S-9.2.1 §C), and
            CV 1 and 29 do not both say that it is its own as well.
    """
    address = own_address(address)
    given_long = isinstance(address, LongAddress)
    is_long = bool(old[29] & EXTENDED_BIT) if 29 in old else given_long
    cvs = (17, 18) if is_long else (1,)
    told = {cv: old[cv] for cv in (*cvs, 29) if cv in old}
    says = " and ".join(f"CV {cv} = {value}" for cv, value in told.items())
    consist = ConsistAddress.from_cvs(old).address if 19 in old else 0
    at_consist = not given_long and address.number == consist
    hint = f"a write goes to its own, not the consist's of CV 19 = {old[19]}" if at_consist else ""
    value = (ExtendedAddress if given_long else PrimaryAddress)(address.number)
    fits = all(old.get(cv, byte) == byte for cv, byte in value.to_cvs().items())
    if is_long is not given_long or not fits:
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


def _own(cvs: Mapping[CvKey, int] | Mapping[int, int], *, is_long: bool) -> OwnAddress | None:
    if is_long:
        both = 17 in cvs and 18 in cvs
        return ExtendedAddress.from_cvs(cvs).to_address() if both else None
    return PrimaryAddress.from_cvs(cvs).to_address() if cvs.get(1) else None
