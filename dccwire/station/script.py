"""What a station is told and when, as text: one wish a line, and the packets that come of it.

    # comment
    MS WISH

MS is milliseconds since the first packet's preamble began. WISH is one of

    add ADDRESS steps=14|28|128         remove ADDRESS
    drive ADDRESS step=N [forward=yes|no]  stop [ADDRESS]
    on ADDRESS FUNCTION ...             off ADDRESS FUNCTION ...
    write ADDRESS cv=N value=N          operate PACKET
    couple ADDRESS ADDRESS ...          uncouple ADDRESS
    end

with addresses as in a packet's text, `short 3` or `long 3000`; blanks or commas stand between
functions, `couple` names the consist's address first, and the packets go on until `end`, which is
the last wish, or without it until nothing waits. Room: text to calls of a station, whose clock it
keeps.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import Any, NamedTuple, TypeAlias

from dccwire.address import Address
from dccwire.errors import CallError, Reason, TextError
from dccwire.fields import Flag, Number
from dccwire.framing import SENT_PREAMBLE
from dccwire.notation import address_from_text
from dccwire.packet import Packet
from dccwire.station.station import Station
from dccwire.wording import either

__all__ = ["perform"]

Tell: TypeAlias = Callable[[Station], object]


class _Form(NamedTuple):
    """What stands behind a wish's word: how many addresses, and names with a number or a flag."""

    least: int
    most: int
    names: tuple[str, ...] = ()


_FORMS = {
    "add": _Form(1, 1, ("steps",)),
    "remove": _Form(1, 1),
    "drive": _Form(1, 1, ("step", "forward")),
    "stop": _Form(0, 1),
    "write": _Form(1, 1, ("cv", "value")),
    "couple": _Form(2, 127),
    "uncouple": _Form(1, 1),
}
"""The wishes that are calls of the same names."""

_MAY_LACK = ("forward",)
"""Names that need not stand there, in brackets where a form is told."""

_WISHES = (*_FORMS, "on", "off", "operate", "end")


def perform(
    lines: Iterable[str], *, new: bool = True, name: str = "the script"
) -> Iterator[Packet]:
    """The packets of a station that is told what the lines say, at nominal timing.

    Raises:
        TextError: a line cannot be read, its time is before the one above, or it stands behind the
            end; `position` is within the line, and a note has the line's number, and `name`.
        FieldError: a value outside its bounds, or a locomotive that was not added.

    >>> script = ["0 add short 3 steps=28", "0 drive short 3 step=6 forward=yes", "10 end"]
    >>> [str(packet) for packet in perform(script, new=False)]
    ['short 3: SpeedAndDirection forward=yes c=1 speed=4', 'idle: Idle']
    """
    station, now_ns, before_ns, ended = Station(new=new), 0, 0, False
    for number, line in enumerate(lines, 1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        with _placed(f"line {number} of {name}"):
            if ended:
                problem, hint = "behind the end, where nothing is sent", "the end is the last wish"
                raise TextError(Reason.TEXT, line, 0, problem, hint)
            at_ns, tell = _wish(line, before_ns)
        before_ns = at_ns
        while now_ns < at_ns:
            yield (packet := station.next())
            now_ns += packet.duration_ns(SENT_PREAMBLE)
        ended = tell is None
        if tell is not None:
            with _placed(f"line {number} of {name}"):
                tell(station)
    while station.waiting and not ended:
        yield station.next()


@contextmanager
def _placed(where: str) -> Iterator[None]:
    try:
        yield
    except CallError as error:
        error.add_note(where)
        raise


def _wish(line: str, before_ns: int) -> tuple[int, Tell | None]:
    """When, and what to tell the station; None at the end."""
    match = re.fullmatch(r"\s*(\d{1,7}(?:\.\d{1,6})?)\s+(\S+)\s*(.*?)\s*", line, re.ASCII)
    if match is None:
        hint = "as in '100 drive long 1205 step=40 forward=yes'"
        problem = "no time in milliseconds, of seven digits or fewer, with a wish behind it"
        raise TextError(Reason.TEXT, line, 0, problem, hint)
    at_ns, word = round(float(match[1]) * 1e6), match[2]
    if at_ns < before_ns:
        problem = f"{match[1]} ms, but the line above is at {before_ns / 1e6:g} ms"
        raise TextError(Reason.TEXT, line, match.start(1), problem, "lines in order of their times")
    if word not in _WISHES:
        problem = f"{word!r} is no wish"
        raise TextError(Reason.TEXT, line, match.start(2), problem, f"one of {either(_WISHES)}")
    try:
        return at_ns, _tell(word, match[3])
    except TextError as error:
        place = match.start(3) + error.position
        raise TextError(error.reason, line, place, error.problem, error.hint) from None


def _tell(word: str, rest: str) -> Tell | None:
    if word == "operate":
        packet = Packet.from_text(rest)
        return lambda station: station.operate(packet)
    addresses, words = _addresses(rest)
    if word in ("on", "off"):
        _count(rest, len(addresses), _Form(1, 1))
        functions = [name for one in words for name in re.findall("[^,]+", one[0])]
        if not functions:
            raise TextError(Reason.TEXT, rest, len(rest), "no function", "as in 'on short 3 FL F1'")
        return _switch(addresses[0], functions, on=word == "on")
    form = _FORMS.get(word, _Form(0, 0))
    _count(rest, len(addresses), form)
    named = _named(rest, words, form.names)
    if word == "end":
        return None
    return lambda station: getattr(station, word)(*addresses, **named)


def _addresses(rest: str) -> tuple[list[Any], list[re.Match[str]]]:
    """The addresses that words begin with, and the words behind them."""
    found, words = list[Address](), [*re.finditer(r"\S+", rest)]
    while len(words) > 1 and words[0][0].isalpha() and words[1][0].isdigit():
        try:
            found.append(address_from_text(f"{words[0][0]} {words[1][0]}"))
        except TextError as error:
            place = words[error.position > 0].start()
            raise TextError(error.reason, rest, place, error.problem, error.hint) from None
        words = words[2:]
    return found, words


def _count(rest: str, count: int, form: _Form) -> None:
    if not form.least <= count <= form.most:
        number = form.least if form.least == form.most else f"{form.least} to {form.most}"
        noun = "address" if form.most == 1 else "addresses"
        hint = "an address is two words, as in 'long 1205'"
        raise TextError(Reason.TEXT, rest, 0, f"{number} {noun} expected, {count} given", hint)


def _named(rest: str, words: list[re.Match[str]], names: tuple[str, ...]) -> dict[str, Any]:
    """Words such as `step=40`: all of these names, and no others."""
    found = dict(word[0].partition("=")[::2] for word in words)
    needed = [name for name in names if name not in _MAY_LACK]
    if not {*needed} <= found.keys() <= {*names} or len(words) != len(found):
        place = words[0].start() if words else len(rest)
        given = repr(rest[place:]) if words else "nothing"
        told = (f"[{name}=...]" if name in _MAY_LACK else f"{name}=..." for name in names)
        expected = " ".join(told) or "nothing more"
        hint = "each once, without blanks around =" if names else "one wish a line"
        problem = f"{given} where {expected} is expected"
        raise TextError(Reason.TEXT, rest, place, problem, hint)
    kinds = {name: Flag() if name == "forward" else Number() for name in names}
    return {name: kinds[name].from_text(name, word) for name, word in found.items()}


def _switch(address: Any, functions: list[str], *, on: bool) -> Tell:
    def tell(station: Station) -> None:
        for function in functions:
            station.switch(address, function, on=on)

    return tell
