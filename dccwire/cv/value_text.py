"""CV values in one line of text (`Configuration extended_addressing=yes`) and as JSON, both ways.

Room: which types there are, and what stays as it is where only some fields are named.
"""

from __future__ import annotations

from collections.abc import Mapping

from dccwire.cv.cv_set import CvKey
from dccwire.cv.description import DecoderDescription, KindOrDescription, kind_of
from dccwire.cv.values import VALUE_TYPES, CvValue, DecoderKind
from dccwire.notation import Notation, declared_to_plain

__all__ = ["value_from_plain", "value_from_text", "value_to_plain"]

value_to_plain = declared_to_plain
_STANDARD = Notation(VALUE_TYPES, "CV value", "dccwire cv --types")


def notation_of(decoder: KindOrDescription) -> Notation[CvValue]:
    """What reads the types of the standard, of both kinds, and those of a description before them.

    >>> list(notation_of(DecoderKind.ACCESSORY).lines(["PrimaryAddress"]))
    ['PrimaryAddress: address (0 to 127) [S-9.2.2, CV 1]']
    """
    kind_of(decoder)
    if not isinstance(decoder, DecoderDescription):
        return _STANDARD
    return Notation({**decoder.types, **VALUE_TYPES}, _STANDARD.noun, _STANDARD.listing)


def value_from_text(
    text: str,
    held: Mapping[int, int] | Mapping[CvKey, int] | None = None,
    decoder: KindOrDescription = DecoderKind.MULTI_FUNCTION,
) -> CvValue:
    """The value of its text; what the text does not name stays as the CVs `held` have it.

    Raises:
        TextError: no such type, a field unknown, missing, given twice or of the wrong form.

    >>> value_from_text("Configuration extended_addressing=yes", {29: 6}).to_cvs()
    {29: 38}
    """
    words, notation = text.split(), notation_of(decoder)
    if held is not None and words and words[0] in notation.types:
        named = {word.partition("=")[0] for word in words}
        stored = str(notation.types[words[0]].from_cvs(held)).split()
        text = " ".join([*words, *(w for w in stored[1:] if w.partition("=")[0] not in named)])
    return notation.from_text(text)


def value_from_plain(
    plain: object,
    held: Mapping[int, int] | Mapping[CvKey, int] | None = None,
    decoder: KindOrDescription = DecoderKind.MULTI_FUNCTION,
) -> CvValue:
    """The value of its JSON object, `held` as for text; ShapeError where it has another shape.

    >>> value_from_plain({"type": "ExtendedAddress", "address": 1205}).to_cvs()
    {17: 196, 18: 181}
    """
    notation = notation_of(decoder)
    if held is not None and isinstance(plain, Mapping) and str(plain.get("type")) in notation.types:
        stored = notation.types[plain["type"]].from_cvs(held)
        plain = {**value_to_plain(stored), **plain}
    return notation.from_plain(plain, "value")
