"""What a simulated decoder is built as, and the small values that it hands out.

Room: imports `errors` and `cv`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from dccwire.cv import READ_ONLY, CvKey, CvSet, DecoderDescription, defaults_of
from dccwire.cv.values import DecoderKind, check_cv, check_value
from dccwire.errors import FieldError, member

DEFAULTS = CvSet(
    {
        **defaults_of(DecoderKind.MULTI_FUNCTION),  # S-9.2.2, CV 1 and Table 2
        7: 1,  # the standard is silent
        8: 13,  # from memory: the number for decoders of no manufacturer
        17: 192,  # the lowest legal value; the standard is silent
        29: 0b10,  # 28 steps, short address; the standard is silent
        31: 16,  # the lowest index page that S-9.2.2 does not reserve; it is silent on a default
    }.items()
)


@dataclass(frozen=True, slots=True, order=True)
class Acknowledgement:
    """60 mA or more on top, drawn from `start_ns` on, for `duration_ns` (S-9.2.3 §D)."""

    start_ns: int
    duration_ns: int

    @property
    def end_ns(self) -> int:
        """When the current falls again, in ns."""
        return self.start_ns + self.duration_ns


class ServiceMode(StrEnum):
    """What a decoder supports on a programming track (S-9.2.3 §E, appendices A and B)."""

    ADDRESS_ONLY = "address only"
    REGISTER = "physical register"
    PAGED = "paged"
    DIRECT = "direct"
    ADDRESS_QUERY = "address query"
    DECODER_LOCK = "decoder lock"


class Ignored(StrEnum):
    """Why a decoder did not act on what was meant for it."""

    READ_ONLY = "a write to a CV that is read-only"
    ABSENT = "a CV that this decoder does not have"
    LOCKED = "a write while CV 15 and CV 16 differ"
    OUT_OF_RANGE = "a value that the CV must not hold"
    IN_CONSIST = "speed at the own address of a decoder in a consist"
    CONSIST = "an instruction that is not obeyed at the consist address"
    UNKNOWN = "an instruction that no format describes"
    UNSUPPORTED = "an instruction that this decoder does not support"
    BARRED = "what may be a service mode packet, after service mode ran out"
    SERVICE_LOCKED = "service mode while the decoder lock of appendix B is on"


@dataclass(frozen=True, slots=True)
class Options:
    """What a decoder is built as; everything has a default.

    - `description`: the decoder's own CVs. Its defaults are factory values; of the CVs that the
      standard leaves to the maker, the decoder has those alone that are described, or in `factory`.
    - `factory`: factory values, a `CvSet` or a mapping that makes one, over those of the
      description and of the standard; what none gives is 0. CV 257 to 512 without a page are on
      that of its CV 31 and 32.
    - `read_only`: S-9.2.2 has CV 7 and 8 so. `absent`: CVs that the decoder does not have.
    - `supports`: service modes.
    - `configuration_bits`: those of CV 29 that a write can set (S-9.2.2, CV 29); bit 6 is reserved
      and bit 7 is an accessory decoder's. Bits 2, 3 and 4 are kept, and have no effect here.
    - `factory_reset_by_cv_8`: whether a write of 8 to CV 8 resets in every mode (common practice,
      no source); to register 8 it always does (P11).
    - `acknowledges_writes`: a decoder may (S-9.2.3 §D). `storage_ns`: how long storing takes, after
      which a write is acknowledged; the standard gives no time.
    - `acknowledgement_ns`: 6 ms ± 1 ms (S-9.2.3 §D); others are let through, to play a bad decoder.
    - `steps_in_use`: the divisor of CV 3 and 4 in 128 step control, 126 or 128 (V2).
    - `time_out_unit_ns`: the unit of CV 11, for which S-9.2.2 has none; 0 gives it no effect.

    >>> Options(factory={0: 1})
    Traceback (most recent call last):
    dccwire.errors.FieldError: cv: 1 to 1024 expected, 0 given
    """

    factory: Mapping[CvKey, int] | Mapping[int, int] = CvSet()
    read_only: frozenset[int] = READ_ONLY
    absent: frozenset[int] = frozenset()
    supports: frozenset[ServiceMode] = frozenset(ServiceMode)
    configuration_bits: int = 0b0011_1111
    factory_reset_by_cv_8: bool = True
    acknowledges_writes: bool = True
    storage_ns: int = 5_000_000
    acknowledgement_ns: int = 6_000_000
    steps_in_use: int = 126
    time_out_unit_ns: int = 0
    description: DecoderDescription | None = None

    def __post_init__(self) -> None:
        described = CvSet()
        if self.description is not None:
            described, kind = self.description.defaults, self.description.kind
            if kind is not DecoderKind.MULTI_FUNCTION:
                raise FieldError("description", "a multi-function decoder's", kind.value)
        factory = DEFAULTS | described | CvSet(self.factory.items())
        object.__setattr__(self, "factory", factory)
        supports = (member(ServiceMode, "supports", one) for one in self.supports)
        object.__setattr__(self, "supports", frozenset(supports))
        for cv in (*self.read_only, *self.absent):
            check_cv(cv, "read_only or absent")
        check_value(29, self.configuration_bits)
        if self.steps_in_use not in (126, 128):
            raise FieldError("steps_in_use", "126 or 128", self.steps_in_use)
        for name, least in (("acknowledgement_ns", 1), ("storage_ns", 0), ("time_out_unit_ns", 0)):
            if getattr(self, name) < least:
                raise FieldError(name, f"{least} or more", getattr(self, name))
