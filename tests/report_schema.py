"""The JSON Schema of `dccwire check --json`, made from the code; running this file writes it.

Words come from the verdicts, forces and units of the rules; what shape a line has is here.
"""

from pathlib import Path

from dccwire.conformance import RULES, Force, Verdict
from dccwire.conformance.report import SCHEMA
from dccwire.formats import Provenance
from dccwire.wording import KINDS
from vector_schemas import Schema, record, written

PATH = Path(__file__).parent.parent / "docs/check.schema.json"

TEXT: Schema = {"type": "string"}
COUNT: Schema = {"type": "integer", "minimum": 0}
TIME: Schema = {"type": "integer"}
RULE: Schema = {"type": "integer", "minimum": min(RULES), "maximum": max(RULES)}
TIMES: Schema = {"type": "array", "items": TIME}


def or_null(schema: Schema) -> Schema:
    return {"anyOf": [schema, {"type": "null"}]}


def words_of(names: type[Verdict] | type[Force] | type[Provenance]) -> Schema:
    return {"enum": [one.value for one in names]}


def _line_of_a_rule(**numbers: Schema) -> Schema:
    """A rule; `numbers` are its limits and its worst reading."""
    return record(
        rule=RULE,
        verdict=words_of(Verdict),
        force=words_of(Force),
        quantity=TEXT,
        limit=TEXT,
        clause=TEXT,
        provenance=words_of(Provenance),
        worst=TEXT,
        **numbers,
        measured=COUNT,
        failed=COUNT,
        undecided=COUNT,
        nearest_ns=or_null(COUNT),
        first_times_ns=TIMES,
        first_bytes={"type": "string", "pattern": "^([0-9A-F]{2}( [0-9A-F]{2})*)?$"},
        undecided_times_ns=TIMES,
        recording=TEXT,
        note=TEXT,
    )


def _schema() -> Schema:
    units = {rule.limit.unit for rule in RULES.values()}
    names = "limit_least", "limit_most", "worst"
    counts = {f"{name}_count": or_null(TIME) for name in names}
    address = record(
        address=TEXT,
        packets={
            "type": "object",
            "propertyNames": {"enum": list(KINDS)},
            "additionalProperties": {"type": "integer", "minimum": 1},
        },
        rate_hz=or_null({"type": "number", "exclusiveMinimum": 0}),
        first_ns=TIME,
        last_ns=TIME,
        longest_ns=or_null(COUNT),
        without_ns=or_null(TIME),
    )
    cause = record(
        rule=or_null(RULE), count=COUNT, follows={"type": "array", "items": RULE}, words=TEXT
    )
    lines = {
        "rule-of-times": _line_of_a_rule(**{f"{name}_ns": or_null(TIME) for name in names}),
        "rule-of-counts": _line_of_a_rule(counted={"enum": sorted(units - {"", "us"})}, **counts),
        "rule-in-words": _line_of_a_rule(),
        "expectation": record(
            expectation=TEXT,
            at_least=COUNT,
            at_most=or_null(COUNT),
            from_ns=COUNT,
            until_ns=or_null(COUNT),
            verdict=words_of(Verdict),
            count=COUNT,
            times_ns=TIMES,
            nearest=TEXT,
            note=TEXT,
        ),
        "summary": record(
            summary={"const": True},
            schema={"const": SCHEMA},
            verdict=words_of(Verdict),
            source=TEXT,
            rules=record(**{one.value: COUNT for one in Verdict}),
            packets=COUNT,
            edges=COUNT,
            duration_ns=COUNT,
            resolution_ns={"type": "integer", "minimum": 1},
            resolution_source=TEXT,
            uncertainty_ns=COUNT,
            not_judged=COUNT,
            histogram_us={
                "type": "object",
                "propertyNames": {"pattern": "^([0-9]|[1-9][0-9]|1[0-3][0-9]|140)$"},
                "additionalProperties": {"type": "integer", "minimum": 1},
            },
            stopped={"type": "boolean"},
            causes={"type": "array", "items": cause},
            addresses={"type": "array", "items": address},
            notes={"type": "array", "items": TEXT},
        ),
    }
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "A line of dccwire check --json",
        "oneOf": [{"$ref": f"#/$defs/{name}"} for name in lines],
        "$defs": lines,
    }


REPORT_SCHEMA = _schema()

if __name__ == "__main__":
    PATH.write_text(written(REPORT_SCHEMA), "utf-8")
