"""Packets laid out bit by bit, for people: `explain`."""

from dccwire.bit_rows import BitRow
from dccwire.drawing.explanation import Explanation, explain

__all__ = ["BitRow", "Explanation", "explain"]
