"""Faults of programming sequences (S-9.2.3 §E), a line each. Room: declarations."""

from __future__ import annotations

from dccwire.faults.planting import Planting, Send, declare, inserted

_PACKETS = {
    "reset": "00 00 00",
    "idle": "FF 00 FF",
    "hard-reset": "00 01 01",
    "speed": "09 68 61",
    "verify": "74 1C 26 4E",  # CV 29, direct mode
    "write": "7C 1C 26 46",
    "unknown": "70 1C 26 4A",  # a CC that is not defined
    "page-1": "7D 01 7C",
    "page-8": "7D 08 75",
    "verify-1": "70 03 73",  # register 1, or data register 1 of a page, or the address
    "write-1": "78 03 7B",
    "address-200": "78 C8 B0",
    "verify-5": "74 03 77",  # register 5
    "write-5": "7C 03 7F",
    "verify-2": "71 03 72",
    "write-2": "79 03 7A",
    "lock": "00 F9 83 7A",
}


_FAULTS = {
    "direct": [
        ("short-long-preamble", 49, "18 ones before a packet", "3 reset, 5 verify preamble=18"),
        ("no-reset-before", 51, "verifies behind an idle packet", "3 reset, 1 idle, 5 verify"),
        ("pause-within-step", 52, "23 ms of ones between two verifies",
         "3 reset, 2 verify, 1 verify preamble=200, 2 verify"),
        ("idle-within-step", 53, "an idle packet between two verifies",
         "3 reset, 2 verify, 1 idle, 3 verify"),
        ("two-resets", 54, "two resets before direct mode", "2 reset, 5 verify"),
        ("lone-verify", 55, "a CV verified once", "3 reset, 1 verify"),
        ("resets-behind-verify", 56, "resets behind verifies", "3 reset, 5 verify, 2 reset"),
        ("lone-service-write", 57, "a CV written once", "3 reset, 1 write, 6 reset"),
        ("short-recovery", 58, "a CV written once, five resets behind it (57 too)",
         "3 reset, 1 write, 5 reset"),
        ("unknown-access", 59, "direct mode with CC = 00", "3 reset, 5 unknown"),
        ("stopped-in-recovery", 75, "30 ms of ones behind a write",
         "3 reset, 1 write, 20 reset preamble=260"),
        ("packet-in-recovery", 76, "an idle packet in the recovery time",
         "3 reset, 1 write, 3 reset, 1 idle, 6 reset"),
        ("hard-reset-alone", 78, "a hard reset, and a speed behind it", "1 hard-reset, 1 speed"),
        ("lock-with-bit-7", 81, "a decoder lock with bit 7 of its address", "3 reset, 5 lock"),
        ("service-packet-first", 92, "a packet of service mode behind 23 ms that ended it",
         "3 reset, 5 verify, 1 verify preamble=200, 1 speed"),
        ("hard-resets-count", 94, "a hard reset as the third", "2 reset, 1 hard-reset, 5 verify"),
    ],
    "address-only": [
        ("address-two-resets", 62, "two resets before a page preset", "2 reset, 5 page-1, 6 reset"),
        ("address-lone-verify", 63, "the address verified once", "3 reset, 1 verify-1"),
        ("address-short-recovery", 64, "the address written once, nine resets behind it (63 too)",
         "3 reset, 1 write-1, 9 reset"),
        ("address-200", 65, "200 written as the address", "3 reset, 5 address-200, 10 reset"),
    ],
    "register": [
        ("register-two-resets", 66, "two resets before a page preset",
         "2 reset, 5 page-1, 6 reset"),
        ("register-lone-verify", 67, "a register verified once", "3 reset, 1 verify-5"),
        ("register-lone-write", 68, "a register written once", "3 reset, 1 write-5, 6 reset"),
        ("register-short-recovery", 69, "a register written once, five resets behind it (68 too)",
         "3 reset, 1 write-5, 5 reset"),
    ],
    "paged": [
        ("paged-two-resets", 70, "two resets before the write of a page",
         "2 reset, 5 page-8, 6 reset, 3 reset, 5 page-1, 6 reset"),
        ("paged-lone-write", 71, "a data register written once", "3 reset, 1 write-2, 6 reset"),
        ("paged-short-recovery", 72, "a data register written once, five resets behind it (71 too)",
         "3 reset, 1 write-1, 5 reset"),
        ("page-left", 73, "page 8 left in the page register",
         "3 reset, 5 page-8, 6 reset, 3 reset, 5 verify-1, 2 idle, 1 speed"),
    ],
}  # fmt: skip
"""By the mode of access: name, the rule that it breaks, what it is, and what is sent."""


def _track(steps: str) -> Send:
    """Steps such as `3 reset, 5 verify`, among idle packets; each may have a plan's options."""
    lines = []
    for step in f"1 idle, {steps}, 2 idle".split(", "):
        count, name, *options = step.split()
        lines.append(f"{' '.join((f'repeat={count} preamble=20', *options))} | {_PACKETS[name]}")
    return inserted(*lines)


declare(
    *(
        Planting(
            *(name, words, rule),
            send=_track(steps),
            session=f'programming_track = true\naccess = "{access}"',
        )
        for access, rows in _FAULTS.items()
        for name, rule, words, steps in rows
    ),
    Planting(
        *("early-programming", "service mode right after power came on", 50),
        send=_track("3 reset, 5 verify"),
        at=0,
        session="power_on_s = [0]\nprogramming_track = true",
    ),
    Planting(
        *("page-not-set-anew", "a data register of page 8 behind a power cycle", 74),
        send=_track(
            "3 reset, 5 page-8, 5 reset, 1 reset gap=60, 20 reset, 5 verify-1, "
            "3 reset, 5 page-1, 6 reset"
        ),
        at=0,
        session="power_on_s = [0.13]",
    ),
    Planting(
        *("early-operation", "a speed right after power came on", 86),
        send=_track("1 speed"),
        at=0,
        session="power_on_s = [0]\nnew = true",
    ),
)
