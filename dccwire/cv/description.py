"""A decoder's own CVs: what a description adds to those of the standard, as one value.

`description_from_toml` makes it. Wherever a kind of decoder is asked for, a description serves as
well. Room: the value alone; what a description may say stands in `description_reading`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

from dccwire.cv.values import CvValue, DecoderKind
from dccwire.errors import member

if TYPE_CHECKING:
    from dccwire.cv.catalogue import CvEntry
    from dccwire.cv.cv_set import CvKey, CvSet

__all__ = ["DecoderDescription", "KindOrDescription"]


@dataclass(frozen=True, slots=True, eq=False)
class DecoderDescription:
    """A decoder: its `name`, its `kind`, its own CVs beside the standard's, and all its defaults.

    `types` are the formats by name, as text and JSON call them; `formats` and `entries` the same by
    CV, an `IndexedCv` where it is on an index page. `defaults` also hold those of the standard's
    CVs that it tells of. The same `text` gives the same description, which is equal to no other.

    >>> from dccwire.cv import description_from_toml
    >>> quay = description_from_toml('''
    ... name = "quay decoder"
    ... [[cv]]
    ... number = 112
    ... name = "main volume"
    ... layout = "VVVVVVVV"
    ... default = 180
    ... ''')
    >>> quay.kind.value, [*quay.types], quay.defaults[112]
    ('multi-function', ['MainVolume'], 180)
    """

    name: str
    kind: DecoderKind
    types: Mapping[str, type[CvValue]]
    formats: Mapping[CvKey, type[CvValue]]
    entries: Mapping[CvKey, CvEntry]
    defaults: CvSet
    text: str

    def __reduce__(self) -> tuple[Callable[[str], DecoderDescription], tuple[str]]:
        # Its types are made when it is read, so that it is pickled as its text.
        from dccwire.cv.description_reading import description_from_toml

        return description_from_toml, (self.text,)


KindOrDescription: TypeAlias = DecoderKind | DecoderDescription
"""Whose CVs are meant: those of every decoder of a kind, or those of one that is described."""


def kind_of(decoder: KindOrDescription) -> DecoderKind:
    """The kind of a decoder, described or not; a FieldError for what is neither.

    >>> kind_of(DecoderKind.ACCESSORY).value
    'accessory'
    """
    if isinstance(decoder, DecoderDescription):
        return decoder.kind
    return member(DecoderKind, "decoder", decoder)
