"""What CVs hold, bit by bit, as notebooks show it.

Room: an explanation of CVs in, HTML out; what bits mean stands in `dccwire.cv`.
"""

from __future__ import annotations

from collections.abc import Iterator

from dccwire.cv.cv_set import plain_cv
from dccwire.cv.explanation import CvExplanation, CvReading, explain_value
from dccwire.cv.values import CvValue, cv_name
from dccwire.drawing.page import in_text, part, shown, table
from dccwire.layout import bits_in_words


def cv_part_of_value(value: CvValue) -> str:
    """The CVs of a value."""
    return cv_part_of(explain_value(value))


def cv_part_of(explanation: CvExplanation) -> str:
    """What CVs hold, every reading of them."""
    return part(_body(explanation))


def _body(explanation: CvExplanation) -> Iterator[str]:
    named = ", ".join(f"{cv_name(cv)} = {value}" for cv, value in explanation.values.items())
    yield f"<h2>{in_text(named)}</h2>"
    for entry in explanation.entries:
        said = f"{entry.name} ({entry.status.value}): {entry.content}"
        yield f"<p>{in_text(said.removesuffix(': '))}</p>"
    for reading in explanation.readings:
        yield f"<h3>{in_text(f'{reading.format.__name__}, {reading.format.clause}')}</h3>"
        yield from (f"<p>! {in_text(note)}</p>" for note in reading.notes)
        head = "cv", "bits", "layout", "meaning"
        yield from table("bit by bit", head, _cells(explanation, reading))
        if reading.value is not None:
            said = reading.value.in_words()
            yield f"<p>= {in_text(reading.value)}{'; ' * bool(said)}{in_text(said)}</p>"


def _cells(explanation: CvExplanation, reading: CvReading) -> Iterator[tuple[object, ...]]:
    lines = reading.format.layout.line.split(" ")
    for byte, (cv, letters) in enumerate(zip(reading.cvs, lines, strict=True)):
        if cv not in explanation.values:
            continue
        bits = f"{explanation.values[cv]:08b}"
        yield plain_cv(cv), shown(bits), shown(letters), ""
        for row in reading.rows:
            if row.byte == byte:
                words = f"{bits_in_words(row.first, row.last)}: {row.meaning}"
                yield "", "", shown(row.letters, row.first), words
