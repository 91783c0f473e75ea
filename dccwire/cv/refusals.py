"""What must not be written, or not before more is known: each refusal in one place (S-9.2.2).

Room: `changes` puts in order what passes here.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

from dccwire.cv.addresses import ExtendedAddress, PrimaryAddress
from dccwire.cv.catalogue import catalogue
from dccwire.cv.cv_set import POINTERS, CvKey, CvSet, IndexedCv, is_on_page, refuse_twice
from dccwire.cv.paging import FIRST_PAGE
from dccwire.cv.values import DecoderKind
from dccwire.errors import FieldError
from dccwire.wording import either

__all__ = ["refuse_address_cvs", "refuse_pages", "refuse_read_only"]


def refuse_read_only(old: CvSet, new: CvSet, force: Collection[int], decoder: DecoderKind) -> None:
    """Refuse to write what is read-only unless it is forced (S-9.2.2), and to force any other.

    Raises:
        FieldError: naming the CV, and its value in `new`.
    """
    read_only = [one.first for one in catalogue(decoder) if one.read_only]
    for cv in force:
        if cv not in read_only:
            raise FieldError("force", either(read_only), cv)
    for cv in read_only:
        if cv not in force and new.get(cv) not in (None, old.get(cv)):
            hint = "it is read-only, and `force` does not name it"
            raise FieldError(f"CV {cv}", "no write", new[cv], hint)


def refuse_pages(new: CvSet, goal: Mapping[CvKey, int], changed: Collection[CvKey]) -> None:
    """Refuse CV 257 to 512 of no certain page, or of a reserved one (S-9.2.2, CV 31 and 32).

    Raises:
        FieldError: a CV of `new` stands there plain and indexed; CV 31 is below 16 while a plain
            one is to be written; or an indexed one is to be written beside plain ones while CV 31
            or 32 is unknown, so that the page of the plain ones could not be set again.
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


def refuse_address_cvs(goal: Mapping[CvKey, int], changed: Collection[CvKey]) -> None:
    """Refuse illegal values of CV 1, 17 and 18, and to clear by CV 1 what is unknown.

    Raises:
        FieldError: CV 1 is above 127; CV 17 is outside 192 to 231, or one of 17 and 18 is unknown;
            or CV 1 is to be written while CV 19 or 29 is unknown.
    """
    if {17, 18} & set(changed):
        ExtendedAddress.from_cvs(goal)
    if 1 in changed:
        PrimaryAddress.from_cvs(goal)
        if unknown := [f"CV {cv}" for cv in (19, 29) if cv not in goal]:
            hint = "a write of CV 1 clears CV 19 and bit 5 of CV 29"
            raise FieldError(" and ".join(unknown), "a value in one of the sets", None, hint)
