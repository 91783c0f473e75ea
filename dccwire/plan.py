"""A plan of what to send, as text: one packet a line, with how often and how.

    # comment
    OPTION=VALUE ... | PACKET

PACKET is a packet's text, or its bytes in hex (right or wrong, error byte included). Options before
the bar: `repeat` (times), `preamble` (ones), `one`, `one-last`, `zero`, `zero-last` (half-bits in
µs), and faults: `flip` (bit, counted from the packet start bit), `drop` (half-bit), `half:N` (µs of
half-bit N; the preamble's are below 0), `pulse` (µs), `gap` (ms after the packet). Room: text to
`Sending`s, nothing else.
"""

import re
from collections.abc import Iterable, Iterator
from itertools import repeat

from dccwire.address import Mode
from dccwire.errors import CallError, FieldError, Reason, TextError
from dccwire.framing import least_preamble
from dccwire.notation import parse_hex
from dccwire.packet import Packet
from dccwire.signal import Timing
from dccwire.synthesis import Sending

__all__ = ["read_packet", "read_plan"]

_COUNTS = ("repeat", "preamble", "flip", "drop")
_TIMING = ("one", "one-last", "zero", "zero-last")
#: How many ns the unit of each has.
_TIMES = {**dict.fromkeys((*_TIMING, "half:N", "pulse"), 1e3), "gap": 1e6}
#: An hour and a half of packets (a plan that wants more says so in more lines).
_MOST_REPEATS = 1_000_000


def read_packet(text: str) -> bytes:
    """The bytes of a packet's text, or of hex digits as they stand; a `TextError` for neither.

    >>> read_packet("idle: Idle").hex(" "), read_packet("37 74 42").hex(" ")
    ('ff 00 ff', '37 74 42')
    """
    word = re.search("[g-zG-Z]{2}", text)
    # What has a blank behind a word that is no hex is a packet's text that lacks its colon.
    if ":" in text or (word is not None and text.find(" ", word.end()) >= 0):
        return bytes(Packet.from_text(text))
    return parse_hex(text)


def read_plan(lines: Iterable[str], name: str = "the plan") -> Iterator[Sending]:
    """What the lines of a plan say to send; errors carry the line's number, and `name`, as a note.

    Raises:
        TextError: a line cannot be read; `position` is within the line.
        FieldError: a value outside its bounds.

    >>> plan = ["repeat=2 preamble=16 | idle: Idle", "# wrong on purpose", "37 74 42"]
    >>> [(each.data.hex(), each.preamble) for each in read_plan(plan)]
    [('ff00ff', 16), ('ff00ff', 16), ('377442', 14)]
    """
    for number, line in enumerate(lines, 1):
        if line.strip() and not line.lstrip().startswith("#"):
            try:
                yield from _sendings(line.rstrip())
            except CallError as error:
                error.add_note(f"line {number} of {name}")
                raise


def _sendings(line: str) -> Iterator[Sending]:
    head, bar, tail = line.partition("|")
    given = _options(line, head) if bar else {}
    packet = (tail if bar else head).lstrip()
    try:
        data = read_packet(packet)
    except TextError as error:
        place = len(line) - len(packet) + packet.index(error.text) + error.position
        raise TextError(error.reason, line, place, error.problem, error.hint) from None
    service = packet.split()[0] == Mode.SERVICE.value
    usual = least_preamble(Mode.SERVICE if service else Mode.OPERATIONS)
    timing = Timing(**{name.replace("-", "_"): given[name] for name in _TIMING if name in given})
    faults = given.get("flip"), given.get("drop"), given.get("pulse", 0), given.get("gap", 0)
    halves = tuple((int(one[5:]), given[one]) for one in given if one.startswith("half:"))
    sending = Sending(data, given.get("preamble", usual), timing, *faults, halves)
    times = given.get("repeat", 1)
    if times > _MOST_REPEATS:
        raise FieldError("repeat", f"0 to {_MOST_REPEATS}", times)
    yield from repeat(sending, times)


def _options(line: str, head: str) -> dict[str, int]:
    given: dict[str, int] = {}
    for word in re.finditer(r"\S+", head):
        name, _, value = word[0].partition("=")
        kind = "half:N" if re.fullmatch(r"half:-?\d{1,5}", name, re.ASCII) else name
        known = name != "half:N" and (kind in _COUNTS or kind in _TIMES)
        most = 18 if name in _COUNTS else 9  # digits; of counts each has a bound of its own
        number = rf"\d{{1,{most}}}" + r"(\.\d{1,9})?" * (name not in _COUNTS)
        if not known or not re.fullmatch(number, value, re.ASCII):
            problem = f"{value!r} is no number" if known else f"{word[0]!r} is no option"
            if known and re.fullmatch(r"\d+", value, re.ASCII):
                problem = f"{value!r} is a number of more than {most} digits"
            hint = f"OPTION=NUMBER of {', '.join((*_COUNTS, *_TIMES))}"
            raise TextError(Reason.TEXT, line, word.start(), problem, hint)
        given[name] = int(value) if name in _COUNTS else round(float(value) * _TIMES[kind])
    return given
