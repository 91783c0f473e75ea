"""The sequences of S-9.2.3 §E, step by step, for targets of one mode.

Room: which steps stand around a verify and a write; what is asked and stored is elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

from dccwire.errors import ConfirmationError, FieldError
from dccwire.instructions import CvOperation
from dccwire.packet import Packet
from dccwire.programming.counts import Counts
from dccwire.programming.steps import RESET, Course, Kind, Step
from dccwire.programming.targets import DirectCv, Target, service
from dccwire.service_mode import PagePreset, PageRegisterAccess

__all__ = ["Sequencer", "Setup"]

T = TypeVar("T")

PRESET_PAGE = 1
"""The page register's default, to be left behind at the end (S-9.2.3 §E, Paged CV Addressing)."""


@dataclass(frozen=True, slots=True)
class Setup:
    """How a session is carried out; every part may be left out.

    Args:
        counts: of the target's mode, to send more than the minimum.
        power_on: begin with the power-on cycle; False if the track is under power already.
        power_cycle: switch off and on once more after the page preset, as the sequences of register
            and address-only mode allow.
        check_page: in paged mode, verify the page register after setting it. Without that a lost
            page write would read, or write, the CV of another page. The standard does not say that
            a decoder answers this verify; for one that does not, give False.
    """

    counts: Counts | None = None
    power_on: bool = True
    power_cycle: bool = False
    check_page: bool = True


class Sequencer:
    """Steps for targets of one mode, and what later steps depend on.

    Args:
        target: any target of the mode.
        setup: how the session is carried out.

    Raises:
        FieldError: counts or a power cycle that are not for this mode.
    """

    def __init__(self, target: Target, setup: Setup) -> None:
        counts = target.counts() if setup.counts is None else setup.counts
        if not isinstance(counts, target.counts):
            raise FieldError("counts", target.counts.__name__, counts)
        if setup.power_cycle and not target.preset:
            raise FieldError("power_cycle", "False outside register and address-only mode", True)
        self.counts = counts
        self.setup = setup
        self._preset = target.preset
        self._resets_each = target.resets_each
        self._page: int | None = None
        self._turned = False
        self._running = False

    def start(self) -> Course[None]:
        """The power-on cycle, and the page preset where the mode begins with one."""
        if self.setup.power_on:
            yield self._step(RESET, self.counts.power_on, power_on=True)
        if self._preset:
            yield from self._set_page(service(PagePreset()))
        if self.setup.power_cycle:
            yield self._step(RESET, self.counts.power_on, power_on=True)

    def approach(self, target: Target) -> Course[None]:
        """What comes before the verify groups of a target: its page, and the resets.

        Raises:
            ConfirmationError: the decoder does not confirm the page.
        """
        if target.page not in (None, self._page):
            yield from self._turn_to(target, target.page)
        if not self._resets_each and not self._running:
            yield from self._resets(self.counts.resets)
            self._running = True

    def asking(self, target: Target, course: Course[T]) -> Course[T]:
        """A course of verify groups, with its approach."""
        yield from self.approach(target)
        return (yield from course)

    def group(self, packet: Packet) -> Course[bool]:
        """A verify group: whether it was acknowledged."""
        if self._resets_each:
            yield from self._resets(self.counts.resets)
        acknowledged = yield self._step(packet, self.counts.verifies, Kind.VERIFY)
        if acknowledged:
            yield from self._resets(self.counts.acknowledged_resets)
        return acknowledged

    def confirm(self, target: Target, value: int, read: int | None = None) -> Course[None]:
        """A verify group that has to be acknowledged.

        Where the same packets may have come right before, resets divide them: a decoder need not
        answer a third identical packet.

        Raises:
            ConfirmationError: it was not.
        """
        if not isinstance(target, DirectCv):
            self._running = False
        yield from self.approach(target)
        if not (yield from self.group(target.verify(value))):
            raise ConfirmationError(str(target), read, f"verify of {value}")

    def write(self, target: Target, packet: Packet) -> Course[bool]:
        """A write group with its recovery: whether it was acknowledged, which it need not be."""
        if target.page not in (None, self._page):
            yield from self._turn_to(target, target.page)
        recovery = self.counts.long_recovery if target.long_recovery else self.counts.recovery
        return (yield from self._write(packet, self.counts.writes, recovery))

    def between(self) -> Course[None]:
        """What a programmer adds between two CVs of its own will."""
        yield from self._resets(self.counts.between_cvs)

    def close(self) -> Course[None]:
        """Leave the page register at 1, if it may be elsewhere (S-9.2.3 §E, Paged)."""
        if self._turned and self._page != PRESET_PAGE:
            yield from self._set_page(service(PagePreset()))

    def _turn_to(self, target: Target, page: int) -> Course[None]:
        self._page, self._turned = None, True
        yield from self._set_page(service(PageRegisterAccess(CvOperation.WRITE, page)))
        if self.setup.check_page:
            check = service(PageRegisterAccess(CvOperation.VERIFY, page))
            if not (yield from self.group(check)):
                raise ConfirmationError(str(target), None, f"verify of page {page}")
        self._page = page

    def _set_page(self, packet: Packet) -> Course[bool]:
        return (yield from self._write(packet, self.counts.page_writes, self.counts.page_recovery))

    def _write(self, packet: Packet, writes: int, recovery: int) -> Course[bool]:
        yield from self._resets(self.counts.resets)
        self._running = False
        stored = yield self._step(packet, writes, Kind.WRITE)
        recovered = yield self._step(RESET, recovery, Kind.RECOVERY)
        return stored or recovered

    def _resets(self, count: int) -> Course[None]:
        if count:
            yield self._step(RESET, count)

    def _step(
        self, packet: Packet, count: int, kind: Kind = Kind.FILLING, *, power_on: bool = False
    ) -> Step:
        return Step(packet, count, kind, self.counts.preamble, power_on)
