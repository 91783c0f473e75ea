"""Who obeys what: at the consist's address, and at a unit's own (S-9.2.1 §C, Consist Control).

Speed and direction count at the consist's address alone, unless the unit's own is the same;
functions count at the own address, and at the consist's as far as CV 21 and 22 say. At 14 steps FL
is a bit of speed and direction (X18) and has no meaning in function group one (X20), so that a unit
with 14 steps has it from whoever tells its speed. Room: imports `units`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from dccwire.consists.units import LIT, MASKED, UNMASKED, Consist, Unit
from dccwire.notation import address_to_plain
from dccwire.wording import wrapped

__all__ = ["Cell", "Obedience", "Row", "obedience"]

MOTION = ("speed", "direction")
_LEGEND = (
    "C obeyed at the consist's address, O at the unit's own, - at neither; FL forward and reverse "
    "are as the unit itself runs, lights as they face in the consist"
)


@dataclass(frozen=True, slots=True)
class Cell:
    """Whether one unit obeys one thing at the consist's address and at its own; `words` say more.

    >>> str(Cell(consist=False, own=True, words="bell"))
    '- O bell'
    """

    consist: bool
    own: bool
    words: str = ""

    def __str__(self) -> str:
        return f"{'-C'[self.consist]} {'-O'[self.own]} {self.words}".rstrip()


@dataclass(frozen=True, slots=True)
class Row:
    """One thing, `speed`, `direction` or a function, and a cell for each unit."""

    what: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class Obedience:
    """The table of a consist: rows by what is obeyed, a column for each unit."""

    consist: Consist
    rows: tuple[Row, ...]

    def cell(self, what: str, unit: Unit) -> Cell:
        """Whether a unit obeys `speed`, `direction`, `FL-forward`, `FL-reverse`, `F1` to `F28`."""
        (row,) = (row for row in self.rows if row.what == what)
        return row.cells[self.consist.units.index(unit)]

    def text(self, width: int = 80) -> str:
        """The table for a terminal, in plain ASCII: as many units beside each other as fit.

        >>> from dccwire import ShortAddress
        >>> lead = Unit(ShortAddress(21), "lead", {"bell": "F1"})
        >>> print(obedience(Consist(10, (lead,))).text(40))
                      short 21
                      lead, forward
        speed         C -
        direction     C -
        FL-forward    - O
        FL-reverse    - O
        F1            C O bell
        F2-F28        - O
        C obeyed at the consist's address, O at
        the unit's own, - at neither; FL forward
        and reverse are as the unit itself runs,
        lights as they face in the consist
        """
        side = max((width - _SIDE) // _COLUMN, 1)
        lines: list[str] = []
        for first in range(0, len(self.consist.units), side):
            lines += self._block(slice(first, first + side))
        return "\n".join([*lines, *wrapped(_LEGEND, width)])

    def _block(self, columns: slice) -> Iterator[str]:
        units = self.consist.units[columns]
        yield _line("", [unit.name for unit in units])
        yield _line("", [f"{unit.position.value}, {unit.way}" for unit in units])
        run: list[str] = []
        for row, after in zip(self.rows, (*self.rows[1:], None), strict=True):
            cells = [str(cell) for cell in row.cells[columns]]
            run.append(row.what)
            alike = after and cells == [str(cell) for cell in after.cells[columns]]
            if alike and row.what not in (*MOTION, *LIT):
                continue
            yield _line(run[0] if len(run) == 1 else f"{run[0]}-{run[-1]}", cells)
            run = []

    def to_dict(self) -> dict[str, Any]:
        """As JSON holds it: by unit, by what is obeyed."""
        to = self.consist.packets_to
        return {
            "consist": to and address_to_plain(to),
            "units": [
                {
                    "unit": address_to_plain(unit.address),
                    "obeys": {
                        row.what: {"consist": row.cells[place].consist, "own": row.cells[place].own}
                        for row in self.rows
                    },
                }
                for place, unit in enumerate(self.consist.units)
            ],
        }


_SIDE, _COLUMN = 14, 22
"""Columns of the names of rows, and of each unit: three fit into 80."""


def _line(head: str, cells: list[str]) -> str:
    cut = [cell if len(cell) < _COLUMN else f"{cell[: _COLUMN - 4]}..." for cell in cells]
    return f"{head:<{_SIDE}}{''.join(f'{cell:<{_COLUMN}}' for cell in cut)}".rstrip()


def obedience(consist: Consist) -> Obedience:
    """Who obeys what in a consist; that functions above F12 obey the own address alone, too.

    >>> from dccwire import ShortAddress
    >>> lead = Unit(ShortAddress(21), "lead", {"bell": "F1"})
    >>> table = obedience(Consist(10, (lead,)))
    >>> table.cell("speed", lead), table.cell("F13", lead)
    (Cell(consist=True, own=False, words=''), Cell(consist=False, own=True, words=''))
    """
    rows = (*MOTION, *MASKED, *UNMASKED)
    return Obedience(
        consist,
        tuple(Row(what, tuple(_cell(consist, u, what) for u in consist.units)) for what in rows),
    )


def _cell(consist: Consist, unit: Unit, what: str) -> Cell:
    in_consist = consist.packets_to is not None
    same = consist.packets_to == unit.address
    moves_by_own = same or not in_consist
    if what in MOTION:
        turned = unit.reversed and in_consist and what == "direction"
        return Cell(in_consist, moves_by_own, "turned" if turned else "")
    does = [role for role in unit.functions if what in unit.switches(role)]
    by_speed = unit.steps == 14 and what in LIT
    masked = in_consist and (same or what in unit.mask.names_on)
    words = " ".join((", ".join(does), "(by speed)" * by_speed)).strip()
    return Cell(masked, moves_by_own if by_speed else True, words)
