"""What S-9.2.3 demands of finished groups of packets, in each mode that they can be of.

A step may end early where the decoder acknowledges it, which no recording of the signal alone
shows; so fewer packets than demanded fail only where they are too few for any acknowledgement.
Packets of three bytes may be of several modes; what is wrong in one of them alone is undecided.
Room: a finished group in, outcomes out.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TypeAlias

from dccwire.codebook import is_query_or_lock
from dccwire.conformance.rules import FAILED, PASSED, Outcome, Rule, Verdict
from dccwire.conformance.service import rules as r
from dccwire.conformance.service.groups import (
    ANSWERED,
    COUNTS,
    LOST,
    End,
    Group,
    Kind,
)
from dccwire.conformance.session import Access, Session
from dccwire.counts import ANSWERABLE
from dccwire.service_mode import PRESET_PAGE

Found: TypeAlias = Iterator[tuple[Rule, Outcome, int]]
"""What a rule says, and of when."""


AT_THE_END = "that the recording ends within: a longer one decides"
AT_THE_BEGIN = "behind a count that the recording begins within, and that may have been over"
DIFFER = "of packets that differ: a decoder obeys identical ones alone (S-9.2.3 §E)"
ANSWERED_OR_OTHER = f"{ANSWERED}, or they are of another mode (say which in the session)"
IN_ONE_MODE = "in the one mode or the other: which is in use decides (say it in the session)"
SHARED = (
    "with resets enough to lead, too few for the recovery of the write before as well: the decoder "
    "may have answered (record the current to decide)"
)
REPEATED = "with page writes repeated where the list has resets (P6)"
UNOPENED = (
    "with no write of the page register before, which opens the sequence, as far as is recorded: "
    "record it from its begin, which may lie before a power cycle"
)
SILENT = "where the text is silent: of, and behind, address queries and decoder locks"
DIVIDED = "that divide the resets before a step, or come before them"
FREE = "that come before the recovery ends, if the decoder has not answered (record the current)"


def accesses(group: Group, page: int | None, session: Session) -> tuple[Access, ...]:
    """The modes that a group can be of, given what the page register was set to, if known.

    Registers 5, 7 and 8 are of register mode; 1 to 4 are data registers too, of a page other than 1
    for certain; register 1 below 128 is address-only mode's as well (P5, P9).
    """
    if group.target.direct:
        return (Access.DIRECT,)
    page_write = group.target == r.PAGE and group.kind is Kind.WRITE
    if group.target.number > 4 and group.target != r.PAGE:
        return (Access.REGISTER,)
    if (group.data[1] if page_write else page) not in (None, PRESET_PAGE):
        return (Access.PAGED,)
    found = [Access.PAGED, Access.REGISTER]
    if page_write or (group.target.number == 1 and group.data[1] < 128):
        found.append(Access.ADDRESS_ONLY)
    return tuple(one for one in found if session.access in (None, one)) or tuple(found)


def counted(group: Group, least: int) -> Outcome | None:
    """Whether the packets of a group are enough."""
    if group.count >= least:
        return Outcome(Verdict.PASS, group.count, DIFFER * group.differs)
    if group.cut or (group.unsure and group.uncounted):
        return None
    if group.uncounted:
        return Outcome(Verdict.UNDECIDED, group.count, AT_THE_END)
    return _short(group, group.count, lost=group.lost)


def recovered(group: Group, least: int) -> Outcome | None:
    """Whether the same write, beyond what is enough, or resets behind it last for its recovery."""
    count = group.surplus + group.after.count
    if count >= least:
        return Outcome(Verdict.PASS, count)
    if group.cut or (group.unsure and group.ended is End.RECORDING):
        return None
    if group.ended is End.RECORDING:
        return Outcome(Verdict.UNDECIDED, count, AT_THE_END)
    lost = group.lost or group.after.missed or group.ended is End.GAP
    return _short(group, count, lost=lost)


def _short(group: Group, count: int, *, lost: bool) -> Outcome:
    if lost:
        return Outcome(Verdict.UNDECIDED, count, LOST)
    if group.count >= ANSWERABLE:
        return Outcome(Verdict.UNDECIDED, count, ANSWERED)
    return Outcome(Verdict.FAIL, count)


def led(group: Group, access: Access, sequence: r.Sequence) -> Outcome | None:
    """Whether the resets before a group are enough.

    Each write group needs them, and in paged mode each verify group; in other modes the verify
    groups that follow one another need them once. Behind a write they come after its recovery. A
    packet of another kind leads out of service mode (S-9.2.3 §C): what follows it has none.
    """
    if group.intruders:
        return None  # which `by_order` tells at its time
    earlier, count, least = group.earlier, group.before.count, sequence.counts.resets
    verifies = earlier is not None and earlier.kind is group.kind is Kind.VERIFY
    alike = earlier is not None and earlier.target.direct is group.target.direct
    if verifies and alike and access is not Access.PAGED:
        return None
    whole = least
    if earlier is not None and earlier.kind is Kind.WRITE:
        whole += max(0, sequence.least_recovery(earlier.target) - earlier.surplus)
    if count >= whole:
        return Outcome(Verdict.PASS, count)
    if group.before.cut:
        return None
    if group.before.missed:
        return Outcome(Verdict.UNDECIDED, count, LOST)
    if count >= least:
        return Outcome(Verdict.UNDECIDED, count, SHARED)
    if earlier is not None and earlier.kind is Kind.OTHER:
        return Outcome(Verdict.UNDECIDED, count, SILENT)
    again = earlier is not None and earlier.kind is Kind.WRITE and earlier.data == group.data
    enough = earlier is not None and earlier.count >= ANSWERABLE
    if again and enough and count + group.count >= COUNTS.recovery:
        return Outcome(Verdict.UNDECIDED, count, ANSWERED)  # all of it may be the recovery
    return Outcome(Verdict.FAIL, count)


def by_count(group: Group, possible: tuple[Access, ...], page: int | None) -> Found:
    """The rules that count the packets of a group and its resets, in each mode it can be of.

    What is wrong in all of them fails in each; what is wrong in some is undecided there. So is what
    no write of the page register opens, as far as is known of the `page`.
    """
    opened = page is not None or group.target.direct or group.target == r.PAGE
    columns = zip(*(_demands(group, access, opened=opened) for access in possible), strict=True)
    for column in columns:
        wrong = [said is not None and said.verdict is Verdict.FAIL for _, said in column]
        for rule, said in column:
            if said is None:
                continue
            if said.verdict is Verdict.FAIL and not all(wrong):
                yield rule, Outcome(Verdict.UNDECIDED, said.value, IN_ONE_MODE), group.begin
            elif said.note == ANSWERED and len(column) > 1:
                yield rule, said._replace(note=ANSWERED_OR_OTHER), group.begin
            else:
                yield rule, said, group.begin


def _demands(
    group: Group, access: Access, *, opened: bool
) -> Iterator[tuple[Rule, Outcome | None]]:
    """What a mode demands of a group: resets, packets, recovery."""
    sequence, page = r.SEQUENCES[access], group.target == r.PAGE
    counts = sequence.counts
    leads = led(group, access, sequence)
    if leads is not None and leads.verdict is Verdict.PASS and not opened:
        leads = Outcome(Verdict.UNDECIDED, leads.value, UNOPENED)
    yield sequence.resets, leads
    if group.early and not (group.cut or group.lost):
        yield sequence.resets, Outcome(Verdict.UNDECIDED, note=ANSWERED)
    if group.kind is Kind.VERIFY:
        listed = not (page and access is Access.PAGED)  # no verify of the page register is
        yield sequence.verifies, counted(group, counts.verifies) if listed else None
        return
    least = sequence.least_recovery(group.target)
    written = recovered(group, least)
    presets = page and group.after.count < least and access is not Access.ADDRESS_ONLY
    if presets and written and written.verdict is Verdict.PASS:
        written = written._replace(note=REPEATED)
    writes = counts.page_writes if page else counts.writes
    yield sequence.resets if page else sequence.writes, counted(group, writes)
    yield sequence.resets if page else sequence.recovery, written


def by_order(group: Group, possible: tuple[Access, ...]) -> Found:
    """The rules on what comes before a group, into it, and into its recovery."""
    before = group.before
    if group.earlier is None and not group.cut:
        lost = Outcome(Verdict.UNDECIDED, note=LOST) if before.missed else FAILED
        if is_query_or_lock(group.data):
            lost = Outcome(Verdict.UNDECIDED, note=SILENT)
        yield r.LEAD, PASSED if before.count else lost, group.begin
    if group.kind is Kind.OTHER:
        return
    few = before.count < COUNTS.resets
    if before.count:
        yield r.ZEROS, PASSED, group.begin
    if before.likeness is not None and few:
        lost = Outcome(Verdict.UNDECIDED, note=LOST)
        yield r.ZEROS, lost if before.missed else FAILED, before.likeness
    for time in group.intruders:
        begun = Outcome(Verdict.UNDECIDED, note=AT_THE_BEGIN)
        yield r.INTRUDERS, begun if group.cut else FAILED, time
        yield r.LEAD, FAILED, time
        resets = {r.SEQUENCES[access].resets for access in possible}
        for rule in resets:
            doubt = Outcome(Verdict.UNDECIDED, 0, IN_ONE_MODE)
            yield rule, Outcome(Verdict.FAIL, 0) if len(resets) == 1 else doubt, time
    if before.divided is not None and few:
        yield r.INTRUDERS, Outcome(Verdict.UNDECIDED, note=DIVIDED), before.divided
    elif not group.intruders and not group.unsure:
        yield r.INTRUDERS, PASSED, group.begin
    if group.kind is Kind.WRITE:
        yield from _in_recovery(group, possible)
    elif group.ended is End.OTHERS and (before.count or group.cut):
        yield from _in_count(group, possible)


def _in_count(group: Group, possible: tuple[Access, ...]) -> Found:
    """A packet of another kind behind verifies, before their count is over."""
    most = max(r.SEQUENCES[access].counts.verifies for access in possible)
    outcome = counted(group, most)
    if outcome is not None and outcome.verdict is not Verdict.PASS:
        yield r.INTRUDERS, outcome._replace(value=None), group.left


def _in_recovery(group: Group, possible: tuple[Access, ...]) -> Found:
    needed = [r.SEQUENCES[access].least_recovery(group.target) for access in possible]
    outcome, least = recovered(group, max(needed)), recovered(group, min(needed))
    if outcome is None or least is None:
        return
    passed = outcome.verdict is Verdict.PASS
    if outcome.verdict is Verdict.FAIL and least.verdict is Verdict.PASS:
        outcome = Outcome(Verdict.UNDECIDED, note=IN_ONE_MODE)
    plain = outcome._replace(value=None, note=FREE if outcome.note == ANSWERED else outcome.note)
    if passed or group.ended in (End.PAUSE, End.GAP):
        yield r.STOPPED, plain, group.end
    if passed or group.ended in (End.GROUP, End.OTHERS):
        yield r.IN_RECOVERY, plain, group.end if passed else group.left
        if not passed and group.ended is End.OTHERS:
            yield r.INTRUDERS, plain, group.left
