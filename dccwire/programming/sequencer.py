"""The sequences of S-9.2.3 §E, step by step, for targets of one mode.

Room: which steps stand around a verify and a write; what is asked and stored is elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

from dccwire.counts import Counts
from dccwire.errors import ConfirmationError, FieldError
from dccwire.instructions import CvOperation
from dccwire.packet import Packet
from dccwire.programming.session import RESET, Course, Kind, Step
from dccwire.programming.targets import DirectCv, PagedCv, Target, service
from dccwire.service_mode import PRESET_PAGE, PagePreset, PageRegisterAccess

__all__ = ["Setup"]

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Setup:
    """How a session is carried out; every part may be left out."""

    counts: Counts | None = None
    """Of the target's mode, to send more than the minimum."""
    power_on: bool = True
    """Begin with the power-on cycle; False if the track is under power already."""
    power_cycle: bool = False
    """Switch off and on once more after the page preset (register and address-only mode)."""
    check_page: bool = True
    """In paged mode, verify the page register after setting it.

    Without that a lost page write would read, or write, the CV of another page. The standard does
    not say that a decoder answers this verify; for one that does not, give False.
    """


DEFAULT = Setup()


class Sequencer:
    """Steps for targets of the mode of a target, and what later steps depend on.

    Its courses fail with a ConfirmationError where the decoder does not confirm a page, or a value
    that has to be confirmed. Counts or a power cycle that are not for this mode are a FieldError.
    """

    def __init__(self, target: Target, setup: Setup) -> None:
        self._procedure = procedure = target.procedure
        counts = procedure.counts() if setup.counts is None else setup.counts
        if not isinstance(counts, procedure.counts):
            raise FieldError("counts", procedure.counts.__name__, counts)
        if setup.power_cycle and not procedure.preset:
            hint = "only register and address-only mode allow a second power cycle"
            raise FieldError("power_cycle", "False", True, hint)
        self.counts = counts
        self._setup = setup
        self._page: int | None = None
        self._turned = False
        self._running = False

    def whole(self, course: Course[T]) -> Course[T]:
        """A course with its start and its end, which it reaches after a failure too."""
        power_on = self.step(RESET, self.counts.power_on, power_on=True)
        if self._setup.power_on:
            yield power_on
        if self._procedure.preset:
            yield from self._set_page(service(PagePreset()))
        if self._setup.power_cycle:
            yield power_on
        try:
            result = yield from course
        except ConfirmationError:
            yield from self._close()
            raise
        yield from self._close()
        return result

    def approach(self, target: Target) -> Course[None]:
        """What comes before the verify groups of a target, once: its page, and the resets."""
        yield from self._turn_to(target)
        if not self._procedure.resets_each and not self._running:
            yield from self.resets(self.counts.resets)
            self._running = True

    def ask(self, target: Target, packet: Packet) -> Course[bool]:
        """A verify group, with what comes before it: whether it was acknowledged."""
        yield from self.approach(target)
        return (yield from self._group(packet))

    def confirm(self, target: Target, value: int, read: int | None = None) -> Course[None]:
        """A verify group that has to be acknowledged.

        Where the same packets may have come right before, resets divide them: a decoder need not
        answer a third identical packet.
        """
        if not isinstance(target, DirectCv):
            self._running = False
        if not (yield from self.ask(target, target.verify(value))):
            raise ConfirmationError(str(target), read, f"verify of {value}")

    def write(self, target: Target, packet: Packet, confirmed: int | None = None) -> Course[bool]:
        """A write group with its recovery: whether it was acknowledged, which it need not be."""
        yield from self._turn_to(target)
        to_register_1 = self._procedure.preset and target.cv == 1
        recovery = self.counts.long_recovery if to_register_1 else self.counts.recovery
        acknowledged = yield from self._write(packet, self.counts.writes, recovery)
        if confirmed is not None:
            yield from self.confirm(target, confirmed)
        return acknowledged

    def resets(self, count: int) -> Course[None]:
        """So many reset packets, or none."""
        if count:
            yield self.step(RESET, count)

    def step(
        self, packet: Packet, count: int, kind: Kind = Kind.FILLING, *, power_on: bool = False
    ) -> Step:
        """A step with the preamble of the counts."""
        return Step(packet, count, self.counts.preamble, kind, power_on)

    def _close(self) -> Course[None]:
        """Leave the page register at 1, if it may be elsewhere (S-9.2.3 §E, Paged)."""
        if self._turned and self._page != PRESET_PAGE:
            yield from self._set_page(service(PagePreset()))

    def _turn_to(self, target: Target) -> Course[None]:
        """Set the page of a target, if it is not set."""
        if not isinstance(target, PagedCv) or target.page == self._page:
            return
        self._page, self._turned = None, True
        yield from self._set_page(service(PageRegisterAccess(CvOperation.WRITE, target.page)))
        if self._setup.check_page:
            check = service(PageRegisterAccess(CvOperation.VERIFY, target.page))
            if not (yield from self._group(check)):
                raise ConfirmationError(str(target), None, f"verify of page {target.page}")
        self._page = target.page

    def _set_page(self, packet: Packet) -> Course[bool]:
        return (yield from self._write(packet, self.counts.page_writes, self.counts.page_recovery))

    def _write(self, packet: Packet, writes: int, recovery: int) -> Course[bool]:
        yield from self.resets(self.counts.resets)
        self._running = False
        stored = yield self.step(packet, writes, Kind.WRITE)
        recovered = yield self.step(RESET, recovery, Kind.RECOVERY)
        return stored or recovered

    def _group(self, packet: Packet) -> Course[bool]:
        if self._procedure.resets_each:
            yield from self.resets(self.counts.resets)
        acknowledged = yield self.step(packet, self.counts.verifies, Kind.VERIFY)
        if acknowledged:
            yield from self.resets(self.counts.acknowledged_resets)
        return acknowledged
