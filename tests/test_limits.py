"""Every number that stands at the top of a module: the standards', and the project's own.

Typed in by hand, each with where it comes from, so that none can move unseen.
"""

import importlib
import re
from pathlib import Path
from typing import Any

import dccwire

STANDARD: dict[str, dict[str, Any]] = {
    "address": {"LATER_FIRST_BYTES": (253, 254)},  # from memory: S-9.2.1.1 draft, RCN-218
    "drawing.lines": {"_NARROW": 64},
    "drawing.picture": {
        **{"_SCALE": 0.4, "_LEFT": 10, "_WIDTH": 790, "_HIGH": 34, "_LOW": 62},
        **{"_LONGEST_NS": 1_916_000, "_NARROW": 66},
    },
    "conformance.causes": {
        "_HALF_OF_ONE_NS": 90_000,  # a 1 lasts longer, two halves of 52: S-9.1 §A, Table 1 tr1
        "_HALF_OF_ZERO_NS": 10_000_000,  # S-9.1 §A, Table 1 tr0
        "_PACKET_NS": 28 * 104_000,  # S-9.2 §A: three bytes; S-9.1 §A, Table 1 tr1
    },
    "conformance.judging": {
        "_LONGEST_NS": 10_000_000,  # S-9.1 §A, Table 1 tr0
        "_ERROR_BOUND_NS": 13_000,  # half of 64 to 90 µs: S-9.1 §A, Table 1 tr1 and tr0
    },
    "conformance.extended": {
        # from memory: RCN-212, RCN-211 and RCN-214
        "LATER_CODES": {0x3C, 0xC1, 0xC2, 0xD8, 0xD9, 0xDA, 0xDB, 0xDC, 0xF4, 0xF5, 0xF6},
    },
    "conformance.unread": {
        "WHOLE_PACKET": 38,  # two halves of 19 bits: S-9.2.1, introduction, two bytes and a start
    },
    "conformance.places": {
        "GOES_ON_NS": 26_000,  # S-9.2 §A footnote 3
        "CUTOUT_BEGINS_NS": 32_000,  # from memory: RCN-217, 26 to 32 µs
        "LONGEST_PACKET": 110,  # two halves of 55 bits: S-9.2.1, introduction, six bytes
    },
    "conformance.pace": {"_LIKE_REGISTERS": range(112, 128)},  # S-9.2.3 §E; C13
    "conformance.history": {
        # 30 ones and 11 zeros as short as they may be: FF 00 FF; S-9.1 §A, Table 1
        "SHORTEST_PACKET_NS": 30 * 110_000 + 11 * 190_000,
        "_HIDES_NS": 8 * 110_000 + 11 * 190_000,  # from its start bit to the last one of a byte
    },
    "conformance.resets": {"_LIKE_REGISTERS": range(112, 128)},  # S-9.2.1 §C; S-9.2.3 §C
    "station.station": {"WRITES": 2},  # S-9.2.1 §C, CV access long form
    "conformance.service.watches": {"DIRECT_KINDS": 3},  # S-9.2.3 §E, Direct Mode
    "conformance.service.groups": {
        "SHORTEST_PACKET_NS": 5_000_000,  # S-9.2 §A and S-9.1 §A, Table 1: 5.1 ms, rounded down
        "ENOUGH": 5,  # S-9.2.3 §E: writes
    },
    "assembly": {"SHORTEST": 3, "LONGEST": 6},  # S-9.2.1, introduction (C3)
    "counts": {
        "START_RESETS": 20,  # S-9.2.4 §A
        "START_IDLES": 10,  # S-9.2.4 §A
        "ANSWERABLE": 2,  # S-9.2.3 §D (P17)
    },
    "accessory": {
        "OLD_NUMBERS": 512,  # S-9.2.2, Table 3
        "OLD_ADDRESS_CVS": {513, 521},  # S-9.2.1 Appendix A
    },
    "cv.catalogue": {
        "READ_ONLY": {7, 8},  # S-9.2.2, CV 7 and 8
        "_RENUMBERED": {1, 2, 3, 4, 5, 6, 7, 8, 9, 28, 29},  # S-9.2.2, Table 3, in brackets
        "_MAKERS": {257, 896},  # S-9.2.2, Table 1: the indexed area, sound and function modules
    },
    "cv.changes": {
        "EXTENDED_BIT": 32,  # S-9.2.2, CV 29 bit 5
        "FACTORY_RESET": 8,  # S-9.2.3 §E, Decoder Factory Reset (P11)
    },
    "cv.cv_set": {"INDEXED": range(257, 513), "POINTERS": (31, 32)},  # S-9.2.2, CV 31 and 32
    "cv.functions": {"_LOWEST": (1, 1, 1, 1, 1, 4, 4, 4, 4, 4, 7, 7, 7, 7)},  # S-9.2.2, Table 2
    "cv.motor": {"UNIT_MS": 896},  # S-9.2.2, CV 3
    "cv.speed_curves": {
        "LINEAR": 2,  # S-9.2.2, CV 25
        "POINTS": 28,  # S-9.2.2, CV 67-94
    },
    "cv.paging": {"FIRST_PAGE": 16, "INDEX_PAGES": 61_440},  # S-9.2.2, CV 31 and 32
    # S-9.2.1 §C, Binary State Control
    "decoder.obeying": {"HIGHEST_SHORT": 127, "HIGHEST_LONG": 32_767},
    "decoder.state": {
        **{"FL_FORWARD": 1, "FL_REVERSE": 2},  # S-9.2.2, CV 14 and 22
        "FULL_STEPS_128": 126,  # S-9.2.1 §C, 128 Speed Step Control
        "HIGHEST": 68,  # from memory: RCN-212
        "ALL": 0x3F_FFFF_FFFF_FFFF_FFFF,  # two lights of FL and F1 to F68
    },
    # S-9.2.2, CV 1, CV 17 and 18; whether 0 may be written: V20
    "decoder.storage": {"LEGAL": {1: range(128), 17: range(192, 232)}},
    "faults.conditions": {"_CUTOUT": (29_000, 471_000)},  # from memory: within 26 to 32, 454 to 488
    "framing": {
        "LEAST_PREAMBLE": 10,  # S-9.2 §A, Preamble
        "SENT_PREAMBLE": 14,  # S-9.2 §A, Preamble
    },
    "findings": {"_ONCE": (0b000, 0b001, 0b111)},  # S-9.2.1 §C, several instructions
    "instructions.speed_and_direction": {
        "STEPS": (14, 28, 128),  # S-9.2 §B; S-9.2.1 §C
        "EMERGENCY": 1,  # S-9.2.1 §C, 128 Speed Step Control
        "VOLUME": 1,  # S-9.2.1 §C, Analog Function Group
    },
    # S-9.2.2, CV 29 bit 4 and CV 67-94
    "matching.voltages": {"TABLE_BIT": 16, "_TABLE": tuple(range(67, 95))},
    "programming.durations": {"STRETCHED": 2_100_000},  # 12000 less 9900 µs: S-9.1 §A, Table 1
    "programming.operations": {"SHORT": range(1, 112)},  # S-9.2.3 Appendix A (P12)
    "receiver.columns": {"_BYTES": 6, "_BITS": 55},  # S-9.2.1, introduction; S-9.2 §A
    "receiver.machine": {"LEAST_HALVES": 20},  # of ten ones: S-9.2 §A, Preamble
    "receiver.tracking": {"STAY_NS": 20_000_000},  # S-9.2.3 §C
    "service_mode": {
        **{"PAGE_REGISTER": 6, "PRESET_PAGE": 1},  # S-9.2.3 §E
        "REGISTER_CVS": {1: 1, 2: 2, 3: 3, 4: 4, 5: 29, 7: 7, 8: 8},  # S-9.2.3 §E
        "ACCESSORY_REGISTERS": {1: 1, 513: 1, 7: 7, 519: 7, 8: 8, 520: 8},  # S-9.2.3 §E (P20)
    },
}

OWN: dict[str, dict[str, Any]] = {
    "cli.jobs": {"_NAME": 30},
    "station.station": {"STOPS": 3, "IN_A_ROW": 3},
    "station.wanted": {"TWICE": 2, "THRICE": 3},
    "cli.printing": {"LONGEST_LINE": 1000},
    "conformance.causes": {"_MANY": 0.1},
    "conformance.packets": {"_MOST_KEPT": 1 << 16},
    "conformance.unread": {"OTHERS": 4, "_ONES_LEFT": 4},
    "conformance.histogram": {"_LAST": 141},
    "conformance.locomotives": {"_MOST": 8},
    "conformance.measures": {"FIRST_TIMES": 5},
    "conformance.reports.evidence": {
        **{"MOST_EXCERPTS": 24, "MOST_ROWS": 20, "BINS": 160, "_MOST_EDGES": 1024},
        **{"_HALVES_BEFORE": 12, "_HALVES_AFTER": 20, "_MOST_HALVES": 140, "_REACH_NS": 40_000_000},
    },
    "conformance.parts": {"_PORTION": 2048, "_PORTIONS": 8, "_LEAST": 2},
    "conformance.processes": {"_PARTS_A_PROCESS": 6, "_PATIENCE_S": 1.0},
    "conformance.places": {
        **{"PAUSE_LASTS_NS": 400_000, "BESIDE_NS": 8_000, "REMEMBERED_NS": 1_000_000},
        **{"DOUBTFUL": 4},
    },
    "conformance.pace": {"TO_ALL": 1, "_UNKNOWN": 2},
    "conformance.report": {"SCHEMA": 5},
    "conformance.reports.pictures": {
        **{"_WIDTH": 640, "_BASE": 150, "_NAMES": 150, "_ROW": 18, "_SCALE": 0.5, "_DEEP": 92},
        **{"_LONGEST_US": 300},
    },
    "conformance.reports.text": {"_SCREEN": 23, "_LEAST_ROWS": 3, "_HALF_BITS": 2, "_FEW": 3},
    "conformance.framing": {"_LONG_PREAMBLE": 20},  # S-9.2.3 §E, Long Preamble
    "conformance.probe": {
        **{"UNSTRETCHED_NS": 140_000, "_LEAST_NS": 20, "_APART_NS": 200, "_APART_SHARE": 0.1},
        # halfway between a half of a one, 64 us at most, and of a zero, 90 at least (S-9.1 §A)
        "_ABOUT_NS": ((39_000, 77_000), (77_000, 140_001)),
        **{
            "_REACH_NS": 13_000,
            "_BIN_BITS": 2,
            "_FEWEST": 4,
            "_SHARE": 0.3,
            "_MOST": 0.5,
            "_JITTER_NS": 1_000,
        },
    },
    "conformance.session": {"ROUNDED_NS": 100_000_000},
    "conformance.timing": {"_ALIKE": 0.01},
    "cv.changes": {"_LATE": {1, 15, 16, 17, 18, 19, 29}},
    # from memory: RCN-217, a cutout from 29 to 471 µs behind the end bit
    "faults.conditions": {"_CUTOUT": (29_000, 471_000)},
    "consists.obedience": {"_SIDE": 14, "_COLUMN": 22},
    "decoder.state": {"AT_ONCE": (0, 0)},
    "errors": {"_LONGEST": 60},
    "exercises": {"MOST": 1000},
    "framing": {"MOST_BYTES": 16},
    "inspection": {"MOST_WRONG": 2},
    "matching.picture": {
        **{"_WIDTH": 790, "_PANEL": 330, "_LEFT": 50, "_TOP": 62, "_TALL": 250, "_ROW": 16},
    },
    "matching.readings": {"MOST": 1e9, "MOST_MM_S": 10_000, "SCATTER": 0.1},
    "matching.report": {"WIDTH": 80, "APART": 4, "PLAIN": 30, "POINT": 4, "ROOM": 38},
    "plan": {"_MOST_REPEATS": 1_000_000},
    "receiver.columns": {"_PATIENCE": 4096},
    "receiver.edges": {"SHORTEST_NS": 4_000},
    "receiver.machine": {
        **{"LONGEST_STRAY": 1 << 16, "_APART": 8, "_TRIALS": 64, "_SHORTEST": 3},
        **{"ZERO": 0, "ONE": 1, "OTHER": 2, "GAP": 3, "_HUNT": 0, "_FIRST": 1, "_SECOND": 2},
    },
    "recordings.choice": {
        **{"_MOST_NAMES": 8, "_LONGEST_NAME": 60, "_MOST_LOOKED_AT": 256, "_MOST_COMPARED": 1000},
    },
    "recordings.live": {"_PORTION": 1 << 16, "_HEAD_BYTES": 1 << 16, "_MOST_HEAD": 1 << 24},
    "recordings.looks": {
        **{"_SHARE": 0.9, "_AT_ALL": 0.5, "_NEARLY": 0.055, "_MOST_EDGES": 1 << 14},
        **{"_QUANTILES": (0.5, 0.25, 0.75, 0.1, 0.9), "_MOST_SLACK_NS": 5_000, "_PORTION": 1 << 10},
    },
    "recordings.fst": {"_HEADER_BYTES": 330},
    "recordings.opening": {
        **{"_LONGEST_PROBLEM": 400, "_LONGEST_PATH": 200, "MOST_SPOOLED": 1 << 31},
        **{"_MOST_TIMES": 200, "_LEAST_UNPACKED": 1 << 26},
    },
    "recordings.reading": {"_HEAD_BYTES": 1 << 16},
    "recordings.recording": {
        **{"END_OF_TIME": 1 << 63, "EDGES_A_CHUNK": 1 << 18},
        **{"UNDEFINED": 2},
    },
    "recordings.resolution": {
        **{"TOO_COARSE_NS": 10_000, "_LONGEST": 1 << 17, "_FEW": 5, "_NOTHING": 2, "_USUAL": 8_000},
        **{
            "_FEWEST": 3,
            "_ALL": 1 << 31,
            "_CYCLE": 1 << 30,
            "_ENOUGH": 1_000,
            "_SHORTEST": 16,
            "_REACH": 1.15,
        },
        **{"_LEAST_PERIODS": 3.2, "_CERTAIN": 14, "_NEIGHBOURS": 3},
    },
    "recordings.samples": {
        **{"_PIECE": 1 << 20, "_PACKED_PIECE": 1 << 17, "_FARTHEST": 1 << 62},
        **{"_MOST_AT_ONCE": 1 << 16},
    },
    "recordings.table_layout": {"_SHARE": 0.9, "_FEWEST_VOLTS": 8},
    "recordings.tables": {
        **{"_PIECE": 1 << 20, "_HEAD_BYTES": 1 << 16, "_FIRST_PIECE": 1 << 14, "_EXACT": 1 << 53},
        **{"_LONGEST_ROW": 1 << 20, "_FEWEST_SAMPLES": 8, "_LONGEST_NUMBER": 400},
        **{"_ROWS_LOOKED_AT": 64},
    },
    "recordings.vcd": {
        **{"_PIECE": 1 << 19, "_FIRST_PIECE": 1 << 14, "_MOST_BLOCKS": 16, "_ALL_BLOCKS": 128},
        **{"_NEAR": 1 << 12, "_MOST_HEADER": 1 << 26, "_MOST_SCOPES": 100},
    },
    "recordings.vcd_body": {
        **{"_NO_LEVEL": 255, "_MOST_DIGITS": 40, "MARGIN": 32, "_MOST_SCANNED_DIGITS": 18},
        **{"_LONGEST": 64, "_OTHER": 0, "_TIME": 1, "_VALUE": 2, "_NAME": 3, "_VECTOR": 4},
        **{"_WORD": 5},
    },
    "recordings.writing": {"_BATCH": 1 << 14},
    "signal": {"UNBOUNDED": 1 << 62},
    "synthesis": {"_MOST_PREAMBLE": 10_000},
}
"""No document gives these: thresholds of reading and judging, memory, room on a line."""


def is_number(value: Any) -> bool:
    """Whether it is a number, a range, or a collection of such alone."""
    if isinstance(value, dict):
        return bool(value) and is_number((*value, *value.values()))
    if isinstance(value, tuple | frozenset):
        return bool(value) and all(map(is_number, value))
    return type(value) in (int, float, range)


def found() -> dict[str, dict[str, Any]]:
    """The numbers that each module names in capitals; the module without `dccwire.`."""
    room, numbers = Path(dccwire.__file__).parent, {}
    for file in sorted(room.rglob("*.py")):
        name = ".".join(file.relative_to(room).with_suffix("").parts)
        made = re.findall(r"^(_?[A-Z][A-Z0-9_, ]*)(?:: .*)? = ", file.read_text("utf-8"), re.M)
        if not made or file.stem in ("__init__", "__main__", "fst_child"):
            continue
        module = importlib.import_module(f"dccwire.{name}")
        values = {each: getattr(module, each) for each in ", ".join(made).split(", ")}
        numbers[name] = {each: value for each, value in values.items() if is_number(value)}
    return {name: own for name, own in numbers.items() if own}


def test_every_number_at_the_top_of_a_module_is_as_typed_in() -> None:
    """None is missing, none is new, none has moved."""
    expected = {name: STANDARD.get(name, {}) | OWN.get(name, {}) for name in STANDARD | OWN}
    assert found() == expected
