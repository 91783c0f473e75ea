"""The command for what CVs hold: cv."""

from __future__ import annotations

import argparse
import json
import os
import re
from collections.abc import Collection, Iterable
from dataclasses import asdict
from typing import cast

from dccwire import cv
from dccwire.address import PROGRAMMING_TRACK
from dccwire.cli.printing import complain, say
from dccwire.cli.words import Commands, add_command, text_of
from dccwire.cv.changes import FACTORY_RESET, RESET_CVS
from dccwire.cv.description import kind_of
from dccwire.cv.overview import change_in_words
from dccwire.cv.value_text import notation_of
from dccwire.cv.values import cv_name, number_of
from dccwire.errors import CallError, FieldError, Reason, RecordingError, TextError
from dccwire.framing import SENT_PREAMBLE
from dccwire.notation import address_from_text, plain_from_json
from dccwire.programming.many_cvs import course_of_writes, packets_on_main
from dccwire.programming.operations import course_on_main
from dccwire.programming.session import Step
from dccwire.wording import wrapped

_USE = (
    "CV VALUE pairs, 29 6 or index 16 0, CV 257 7, or a value such as 'ExtendedAddress "
    "address=1205', or both, to change the fields named: 29 6 Configuration speed_table=yes; or "
    "one set of CVs, a file of CSV or JSON"
)
ON_MAIN = "Writing a CV on the main changes every decoder at that address."
_CAUTION = (
    f"{ON_MAIN} A programming track should be "
    "limited in energy: to 250 mA, where it lasts longer than 100 ms (recommended by S-9.2.3 §B)."
)
_POWER = "The track is switched on with the first packet: the resets are the power-on cycle."
_RESET = (
    "8 in CV 8 is a factory reset (in register mode S-9.2.3, else common practice, no source): "
    "every CV gets its factory value, and the writes before it are lost."
)


def add_commands(commands: Commands) -> None:
    """Add the command."""
    one = add_command(commands, "cv", _cv, "say what CVs hold, bit by bit, and the way back")
    one.epilog = _CAUTION
    one.add_argument("words", nargs="*", metavar="WORD", help=_USE)
    whose = one.add_mutually_exclusive_group()
    whose.add_argument("--accessory", action="store_true", help="CVs of an accessory decoder")
    whose.add_argument(
        "--decoder", metavar="FILE", help="a description of a decoder's own CVs, TOML"
    )
    one.add_argument("--json", action="store_true", help="one object a line")
    way = one.add_mutually_exclusive_group()
    way.add_argument("--types", action="store_true", help="list all values, or those named")
    way.add_argument(
        "--compare", nargs=2, metavar=("OLD", "NEW"), help="two sets of CVs, CSV or JSON"
    )
    one.add_argument("--packets", metavar="ADDRESS", help="with --compare: a plan of what turns "
                     "OLD into NEW, for the main by packets to 'short 3' or 'long 3000', with idle "
                     "packets between that keep them 5 ms apart (S-9.2), or for the 'programming-"
                     "track' by direct mode, with all resets that S-9.2.3 demands")  # fmt: skip
    one.add_argument("--force", type=int, action="append", default=[], metavar="CV",
                     help="with --packets: write CV 7 or 8 (8 or 520 of an accessory decoder) "
                     "although it is read-only; 8 in CV 8 resets every CV to its factory value, so "
                     "it is sent last; what another number does, the maker says")  # fmt: skip


def _cv(given: argparse.Namespace) -> int:
    decoder = _decoder(given)
    words = _WORDS.findall(" ".join(given.words))  # quoted or not
    at = next((n for n, word in enumerate(words) if _opens_value(word)), None)
    if given.force and given.packets is None:
        raise FieldError("--force", "--packets beside it", given.force)
    if given.types:
        for line in notation_of(decoder).lines(given.words):
            say(line)
    elif given.compare:
        if given.words:
            raise FieldError("words beside --compare", "none", " ".join(given.words))
        _compare(given, decoder)
    elif given.packets is not None:
        raise FieldError("--packets", "--compare beside it", given.packets)
    elif _names_set(given.words):
        _show(cv.overview(read_set(given.words[0]), decoder), given.json)
    elif at is None:
        return _print(cv.explain_cvs(_pairs(words), decoder), given.json)
    else:
        value = _value(words[:at], " ".join(words[at:]), decoder)
        explanation = cv.explain_value(value, decoder)
        if not given.json:
            pairs = " ".join(f"{key} {held}" for key, held in explanation.values.items())
            say("\n".join([*wrapped(pairs, 80), ""]))
        return _print([explanation], given.json)
    return 0


_WORDS = re.compile(r"index +\S+ +\S+, +CV +\S+|\S+")
"""Words, and the CVs of index pages, which have several: index 16 0, CV 257."""


_NO_CV = re.compile("index|cv[0-9]*|CV")
"""What people write before a number that names a CV by itself; no type is called so."""


def _decoder(given: argparse.Namespace) -> cv.KindOrDescription:
    """Whose CVs are meant: those of a kind, or of the description that is named."""
    if given.decoder is None:
        return cv.DecoderKind.ACCESSORY if given.accessory else cv.DecoderKind.MULTI_FUNCTION
    return read_description(given.decoder)


def read_description(path: str) -> cv.DecoderDescription:
    """The description in a file; a `RecordingError` with its name if it cannot be used."""
    text = text_of(path)
    try:
        return cv.description_from_toml(text)
    except CallError as error:
        raise RecordingError(Reason.FORMAT, path, str(error)) from None


def _opens_value(word: str) -> bool:
    return word[0] == "{" or (word[0].isalpha() and " " not in word and not _NO_CV.fullmatch(word))


def _names_set(words: list[str]) -> bool:
    """Whether one word is a file, and not a CV or a value."""
    if len(words) != 1 or words[0].isdigit():
        return False
    if words[0].startswith((".", os.sep)):  # a path, whether or not it leads to a file
        return True
    return words[0].lower().endswith((".csv", ".json")) or os.path.isfile(words[0])


def _show(one: cv.CvOverview, as_json: bool) -> None:
    for text in (json.dumps(line.to_dict()) for line in one.lines) if as_json else [one.text()]:
        say(text)


def _value(words: list[str], text: str, decoder: cv.KindOrDescription) -> cv.CvValue:
    """The value of text or JSON; pairs before it are what its CVs hold until now."""
    held = _pairs(words) if words else None
    if text[0] == "{":
        plain = plain_from_json(text, "value")
        value, given = cv.value_from_plain(plain, held, decoder), set(cast(Collection[str], plain))
    else:
        value = cv.value_from_text(text, held, decoder)
        given = {word.partition("=")[0] for word in text.split()}
    for other in held or ():
        if other not in value.cvs:
            raise FieldError(cv_name(other), f"none but those of {type(value).__name__}", other)
    left = [name for name in value.kinds if name not in given]
    if left and held is None:
        zero = all(value.kinds[name].to_number(getattr(value, name)) == 0 for name in left)
        told = f"not named, so {'0' if zero else 'at their defaults'}: {', '.join(left)}"
        example = f"cv {value.cvs[0]} VALUE '{type(value).__name__} ...'"
        complain(f"{told}; to keep what a decoder holds, put it first: {example}")
    return value


def _print(explanations: Collection[cv.CvExplanation], as_json: bool) -> int:
    """Print them; the status: 1 if a value is none that its format has."""
    shown = (json.dumps(one.to_dict()) if as_json else one.text() for one in explanations)
    say(("\n" if as_json else "\n\n").join(shown))
    return 0 if all(one.legal for one in explanations) else 1


def _pairs(words: list[str]) -> dict[cv.CvKey, int]:
    """CV and value in turn."""
    place, hint = 0, "a CV is its number, as in '29 6', or as in 'index 16 0, CV 257 7'"
    for word in words:
        if _NO_CV.fullmatch(word):
            text = " ".join(words)
            raise TextError(Reason.TEXT, text, place, f"{word!r} is no CV", hint)
        place += len(word) + 1
    if not words or len(words) % 2:
        text = " ".join(words)
        problem = "a CV without its value" if words else "no CV"
        raise TextError(Reason.TEXT, text, len(text), problem, f"expected are {_USE}")
    pairs: dict[cv.CvKey, int] = {}
    for name, word in zip(words[::2], words[1::2], strict=True):
        key = cv.key_from_text(" ".join(name.split())) if " " in name else _number(name)
        value = number_of(word, cv_name(key), "0 to 255")
        if key in pairs:
            raise FieldError(cv_name(key), "one value", value)
        pairs[key] = value
    return pairs


def _number(word: str) -> int:
    return number_of(word, "cv", "1 to 1024")


def _compare(given: argparse.Namespace, decoder: cv.KindOrDescription) -> None:
    old, new = map(read_set, given.compare)
    changes = cv.difference(old, new)
    if given.packets is not None:
        ids = RESET_CVS[kind_of(decoder)]
        resets = any(new.get(cv) == FACTORY_RESET != old.get(cv) for cv in ids)  # or it is refused
        steps = _steps(old, new, given, decoder)
        power = any(one.power_on for one in steps)
        written = [one for one in changes if one.new is not None and given.decoder is not None]
        words = [_told(one, decoder, old, new) for one in written]
        notes = [_CAUTION, *[_POWER] * power, *[_RESET] * resets, *words]
        return say_plan(steps, notes, given.json)
    for one in changes:
        if given.json:
            key = asdict(one.key) if isinstance(one.key, cv.IndexedCv) else str(one.key)
            say(json.dumps({"cv": key, "old": one.old, "new": one.new}))
            continue
        told = _told(one, decoder, old, new)
        for line in wrapped(told, 78) if given.decoder else [told]:
            say(line)
    if not changes and not given.json:
        say("no differences")


def _told(change: cv.CvChange, decoder: cv.KindOrDescription, old: cv.CvSet, new: cv.CvSet) -> str:
    """What differs, and what that means where a description has been given."""
    line = f"{change} ({cv.entry(change.key, decoder).name})"
    described = isinstance(decoder, cv.DecoderDescription)
    words = change_in_words(change, decoder, old, new) if described else ""
    return f"{line}: {words}" if words else line


def say_plan(steps: Iterable[Step], notes: Iterable[str], as_json: bool) -> None:
    """A plan with its notes as comments, or a JSON object a line without them."""
    if as_json:
        for step in steps:
            plain = {"repeat": step.count, "preamble": step.preamble}
            say(json.dumps({**plain, "packet": step.packet.to_dict()}))
        return
    for line in (line for note in notes for line in wrapped(note, 78)):
        say(f"# {line}")
    for step in steps:
        options = [f"repeat={step.count} "] if step.count > 1 else []
        options += [f"preamble={step.preamble} "] if step.preamble != SENT_PREAMBLE else []
        say(f"{''.join(options)}{'| ' if options else ''}{step.packet}")


def _steps(
    old: cv.CvSet, new: cv.CvSet, given: argparse.Namespace, decoder: cv.KindOrDescription
) -> list[Step]:
    """What to send: without answers on the programming track, so that no step ends early."""
    address = address_from_text(given.packets)
    if address == PROGRAMMING_TRACK:
        return [*course_of_writes(cv.writes(old, new, force=given.force, decoder=decoder))]
    if kind_of(decoder) is cv.DecoderKind.ACCESSORY:
        raise FieldError("address", "programming-track for an accessory decoder", given.packets)
    packets = packets_on_main(old, new, address, force=given.force)
    return list(course_on_main(packets))[:-1]  # nothing comes after the last idle


def read_set(path: str) -> cv.CvSet:
    """The set of a file, CSV or JSON; a `RecordingError` that names the file if it is none."""
    text = text_of(path)
    try:
        return cv.from_json(text) if text.lstrip().startswith("{") else cv.from_csv(text)
    except CallError as error:
        raise RecordingError(Reason.FORMAT, path, str(error)) from None
