"""For every rule what passes, what fails and what is on the edge, or why there is no such thing.

A script is packets after one another: `COUNT NAME OPTIONS`, where count and options may be left
out; a name is of `NAMES`, or the bytes in hex. `@NAME` is a fault that is planted by its name.
Options are those of plans. What shows a gap is written by hand for `Track`, which has a level for
it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from track_signal import IDLE, Track


class Case(NamedTuple):
    """A recording and the session that it is judged in."""

    script: str | Callable[[Track], object]
    session: str = ""
    alone: bool = False
    """Without the idle packets that stand around others."""


class Why(str):
    """Why there is no recording."""

    __slots__ = ()


class Row(NamedTuple):
    """What a rule is shown by; `edge` is what stays undecided, at the limit itself."""

    passes: Case | Why
    fails: Case | Why
    edge: Case | Why


EXACT = Why("it is so or not: bytes and bits have no edge")
WHOLE = Why("whole numbers: what passes is the last that does, what fails the first")
TOLD = Why("it is told without a verdict")
LEVELS = Why("no recording of levels shows it")
CURRENT = Why("the current, or what was meant, decides")

TOLD_ALONE = Row(TOLD, TOLD, TOLD)
NO_LEVELS = Row(LEVELS, LEVELS, LEVELS)

NAMES = {
    "reset": "000000",
    "idle": "FF00FF",
    "speed": "096069",
    "verify": "741C264E",
    "write": "7C1C2646",
    "bit": "781CE98D",
    "page-1": "7D017C",
    "page-8": "7D0875",
    "verify-1": "700373",
    "write-1": "78037B",
    "verify-5": "740377",
    "write-5": "7C037F",
    "verify-2": "710372",
    "write-2": "79037A",
    "query": "03F9FA",
    "lock": "00F903FA",
    "cv": "09EC0205E2",
}
EVERY, TRACK = "every_30_ms = true", "programming_track = true"
ADDRESS, REGISTER, PAGED = (
    f'{TRACK}\naccess = "{one}"' for one in ("address-only", "register", "paged")
)
DIRECT = f'{TRACK}\naccess = "direct"'
AT_ONCE, NEW = "power_on_s = [0]", "power_on_s = [0]\nnew = true"


def at(script: str | Callable[[Track], object], session: str = "", *, alone: bool = False) -> Case:
    """A case."""
    return Case(script, session, alone)


def exact(passes: str, fails: str, session: str = "") -> Row:
    """Of a rule without an edge."""
    return Row(at(passes, session), at(fails, session), EXACT)


def row(passes: str, fails: str, edge: str | Why, session: str = "") -> Row:
    """Of a rule whose three recordings have one session."""
    return Row(
        at(passes, session),
        at(fails, session),
        edge if isinstance(edge, Why) else at(edge, session),
    )


def halves(last: int, us: float) -> str:
    """The last halves of a preamble in another length."""
    return " ".join(f"half:-{place}={us}" for place in range(1, last + 1))


# Ones before a packet that last 5 and 20 ms to the nanosecond.
_5_MS = f"preamble=43 one=58.1 {halves(2, 59.8)}"
_20_MS = f"preamble=172 one=58.1 {halves(8, 59.8)}"


def cut(start: float) -> Callable[[Track], object]:
    """Idle packets, and no signal from so many µs behind an end bit on."""
    return lambda track: track.packet(IDLE).cutout(start, 471).packet(IDLE).packet(IDLE)


TABLE: dict[int, Row] = {
    1: row("idle one=60.9", "@short-half", "idle one=61"),
    2: row("idle one=57 one-last=59.7", "@unlike-halves", "idle one=57 one-last=60"),
    3: row("idle zero=95.1", "@short-zero", "idle zero=95"),
    4: row("idle zero=2999 zero-last=9000", "@overstretched-zero", "idle zero=6000 zero-last=6000"),
    5: Row(
        at("idle"),
        at("@half-of-neither"),
        at("idle half:40=63.95"),
    ),
    6: TOLD_ALONE,
    7: TOLD_ALONE,
    **dict.fromkeys((*range(8, 13), 25, 26, 87, 90), NO_LEVELS),
    13: Row(
        at(cut(30)),
        Why("power that is switched off is none of the station's faults: it stays undecided"),
        at("@silence-within"),
    ),
    14: row("idle preamble=13", "idle preamble=12", WHOLE),
    15: exact("idle", "@missing-end-bit"),
    16: exact("idle", "@wrong-error-byte"),
    17: Row(at(cut(26.2)), at(cut(25.8)), at(cut(26))),
    18: row("reset", "@broadcast-unknown", "FE0102FD"),
    19: exact("idle", "@idle-with-data"),
    20: TOLD_ALONE,
    21: row(
        "reset, 3 idle, 646004",
        "@early-behind-reset",
        "reset, idle, idle half:0=104 half:1=104, 646004 preamble=60 one=58.4",
    ),
    22: row("idle", "@31-ms-apart", "idle gap=2.628, idle preamble=200", EVERY),
    23: row("706010, idle, 706010", "@repeat-112", f"706010, 706010 {_5_MS}"),
    24: row("speed, idle, speed", "@repeat", f"speed, speed {_5_MS}"),
    27: exact("09EC0205E2", "@seven-bytes"),
    28: exact("speed", "@reserved-address"),
    29: exact("C3E8604B", "@half-a-long-address"),
    30: Row(at("speed"), at("@reserved-instruction"), at("7C0478, 2 idle", alone=True)),
    31: exact("09124952", "@consist-bit"),
    32: exact("0907505E", "@flags-bit"),
    33: exact("093D016451", "@analog-output"),
    34: exact("09E807E503", "@bit-manipulation-bits"),
    35: row("090009", "@two-of-control", "03C50001C7"),
    36: row("093F85B3", "@two-of-speed", "03200526"),
    37: row("09F205FE", "@two-of-cv-access", "03F00505F3"),
    38: row("090009, 10 idle, 706010", "@early-behind-decoder-reset", "090009, 9 idle, 706010"),
    39: Row(
        Why("a test that is not sent is not exercised"),
        at("@factory-test", "factory = false"),
        at("@factory-test"),
    ),
    40: exact("09C0800148", "@long-binary-state"),
    41: Row(
        at("09DE00D7, idle, 09DE01D6, idle, 09DE01D6"),
        Why("one more packet may come behind the end of the recording"),
        at("@lone-change"),
    ),
    42: row(
        "speed, idle, cv, idle, cv, idle, speed",
        "@lone-write",
        "cv, idle, speed",
        "consists = []",
    ),
    43: row("cv", "@31-ms-around-cv-access", "idle gap=2.628, cv preamble=200", EVERY),
    44: Row(
        at("cv", "consists = [100]"),
        at("@cv-access-to-consist", "consists = [100]"),
        EXACT,
    ),
    45: Row(
        at("81F0EC07059F"),
        Why("outputs that the text does not describe are not called wrong (X31)"),
        at("@accessory-output"),
    ),
    46: exact("9F7305E9", "@accessory-bits"),
    47: TOLD_ALONE,
    48: TOLD_ALONE,
    49: row("3 reset, 5 verify preamble=19", "3 reset, 5 verify preamble=18", WHOLE, DIRECT),
    50: Row(
        at("17 idle, 3 reset, 5 verify", f"{AT_ONCE}\n{TRACK}", alone=True),
        at("16 idle, 3 reset, 5 verify", f"{AT_ONCE}\n{TRACK}", alone=True),
        WHOLE,
    ),
    51: Row(at("3 reset, 5 verify", TRACK), at("@no-reset-before", TRACK), at("5 verify")),
    52: row(
        "3 reset, 5 verify",
        "@pause-within-step",
        f"3 reset, 2 verify, verify {_20_MS}, 2 verify",
        DIRECT,
    ),
    53: row("3 reset, 5 verify", "@idle-within-step", "3 reset, idle, 5 verify", DIRECT),
    54: row("3 reset, 5 verify", "@two-resets", WHOLE, DIRECT),
    55: row("3 reset, 5 verify", "@lone-verify", "3 reset, 4 verify", DIRECT),
    56: TOLD_ALONE,
    57: row(
        "3 reset, 5 write, 6 reset", "@lone-service-write", "3 reset, 4 write, 6 reset", DIRECT
    ),
    58: row("3 reset, 5 write, 6 reset", "@short-recovery", "3 reset, 5 write, 5 reset", DIRECT),
    59: exact("3 reset, 5 verify", "@unknown-access", DIRECT),
    60: Row(at("3 reset, 5 verify, 3 reset, 5 write, 9 reset, 5 bit", DIRECT), CURRENT, CURRENT),
    61: TOLD_ALONE,
    62: row(
        "3 reset, 5 page-1, 6 reset", "@address-two-resets", "3 reset, 4 page-1, 6 reset", ADDRESS
    ),
    63: row("3 reset, 5 verify-1", "@address-lone-verify", "3 reset, 4 verify-1", ADDRESS),
    64: row(
        "3 reset, 5 write-1, 10 reset",
        "@address-short-recovery",
        "3 reset, 5 write-1, 9 reset",
        ADDRESS,
    ),
    65: exact("3 reset, 5 write-1, 10 reset", "@address-200", ADDRESS),
    66: row(
        "3 reset, 5 page-1, 6 reset", "@register-two-resets", "3 reset, 4 page-1, 6 reset", REGISTER
    ),
    67: row("3 reset, 7 verify-5", "@register-lone-verify", "3 reset, 6 verify-5", REGISTER),
    68: row(
        "3 reset, 5 write-5, 6 reset",
        "@register-lone-write",
        "3 reset, 4 write-5, 6 reset",
        REGISTER,
    ),
    69: row(
        "3 reset, 5 write-5, 6 reset",
        "@register-short-recovery",
        "3 reset, 5 write-5, 5 reset",
        REGISTER,
    ),
    70: row("3 reset, 5 page-8, 6 reset", "@paged-two-resets", "3 reset, 4 page-8, 6 reset", PAGED),
    71: row("3 reset, 5 verify-2", "@paged-lone-write", "3 reset, 4 verify-2", PAGED),
    72: row(
        "3 reset, 5 write-2, 6 reset",
        "@paged-short-recovery",
        "3 reset, 5 write-2, 5 reset",
        PAGED,
    ),
    73: row(
        "3 reset, 5 page-8, 6 reset, 3 reset, 5 page-1, 6 reset, 2 idle, speed",
        "@page-left",
        "3 reset, 5 page-8, 6 reset, 3 reset, 5 verify-1",
        PAGED,
    ),
    74: Row(
        at("3 reset, 5 page-8, 6 reset, 3 reset, 5 verify-1"),
        at("@page-not-set-anew", "power_on_s = [0.13]"),
        at("3 reset, 5 page-8, 5 reset, reset gap=60, 20 reset, 5 verify-1"),
    ),
    75: row(
        "3 reset, 5 write, 6 reset",
        "@stopped-in-recovery",
        "3 reset, 5 write, 2 reset, reset gap=30, 20 reset",
        DIRECT,
    ),
    76: row(
        "3 reset, 5 write, 6 reset",
        "@packet-in-recovery",
        "3 reset, 5 write, 3 reset",
        DIRECT,
    ),
    77: Row(CURRENT, CURRENT, CURRENT),
    78: TOLD_ALONE,
    79: Row(
        at("3 reset, 5 query", TRACK),
        Why("to 112 and more it is a register's packet, or an accessory's (P12)"),
        EXACT,
    ),
    **dict.fromkeys((80, *range(82, 86), 93), Row(CURRENT, CURRENT, CURRENT)),
    81: row("3 reset, 5 lock", "@lock-with-bit-7", "3 reset, 5 00F900F9", TRACK),
    86: Row(
        at("20 reset, 10 idle, speed", NEW, alone=True),
        at("19 reset, 10 idle, speed", NEW, alone=True),
        WHOLE,
    ),
    88: row("006060", "@two-to-all", "00C50001C4"),
    89: TOLD_ALONE,
    91: exact("0907808E", "@flags-to-consist", "consists = [100]"),
    92: row(
        "reset, 2 verify, idle",
        "@service-packet-first",
        "reset, verify, verify gap=30, verify, idle",
        DIRECT,
    ),
    94: exact("3 reset, 5 verify", "@hard-resets-count", DIRECT),
}
