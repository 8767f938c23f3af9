"""Two zones compared: answer, records and measurements of each."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, NamedTuple

from heritagecheck.cards import table
from heritagecheck.documents.zone_rows import Measured, layer_names, measured
from heritagecheck.evidence.measured_values import measured_values
from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.figures.zone_answer import ABOUT
from heritagecheck.judgement.gates.gate import PASSED, Gate
from heritagecheck.judgement.recommendation import Recommendation
from heritagecheck.sentences import joined, upper_first
from heritagecheck.survey.records import Layer, Zone
from heritagecheck.tables.row_types import Substrate, Topic

if TYPE_CHECKING:
    import pandas as pd

COLUMNS = ("about", "what", "one", "other", "differs")
NOTHING = "not recorded"
# What describes a zone, but its codes and words, which always differ.
OF_ZONE = (
    "substrate", "finish", "condition", "exposure", "access", "significance", "biotite_pct",
    "bed_or_system", "panels_laid",
)  # fmt: skip


class _Line(NamedTuple):
    """One thing that is said of both zones."""

    about: str
    what: str
    one: str
    other: str


def zones_compared(one: Recommendation, other: Recommendation) -> pd.DataFrame:
    """
    What is said of two zones, with what differs before what is the same.

    Parameters
    ----------
    one, other : Recommendation
        What was recommended for each.

    Returns
    -------
    pandas.DataFrame
        Columns about (answer, gate, zone, layer, recorded, measured), what, one, other, differs:
        a row for each gate, field, layer, answer of the survey and quantity that either zone has.
        Of a gate that passes on one zone only, the reason is given. Both cells are words as the
        page of the zone gives them; *not recorded* where a zone has none.
    """
    lines = [
        *_answers(one, other), *_gates(one, other), *_fields(one, other),
        *_layers(one, other), *_recorded(one, other), *_measured(one, other),
    ]  # fmt: skip
    found = [(*line, line.one != line.other) for line in lines]
    return table(sorted(found, key=lambda row: not row[-1]), COLUMNS)


def _answers(one: Recommendation, other: Recommendation) -> Iterator[_Line]:
    """Outcome, method and urgency."""
    both = one, other
    yield _Line("answer", "Outcome", one.outcome, other.outcome)
    gates = (item.deciding_gate for item in both)
    yield _Line(
        "answer", "Deciding gate", *("none: all pass" if gate is None else _named(gate.number)
                                     for gate in gates)
    )  # fmt: skip
    methods = ("" if item.instruction is None else item.instruction.method for item in both)
    yield _Line("answer", "Method for approval or to try", *(name or "none" for name in methods))
    urgent = (
        item.urgency or ("not looked at" if item.urgency_not_looked_at else "none recorded")
        for item in both
    )
    yield _Line("answer", "Urgency", *urgent)


def _gates(one: Recommendation, other: Recommendation) -> Iterator[_Line]:
    """Result of each gate, with the reasons where the results differ."""
    for first, second in zip(one.gates, other.gates, strict=True):
        same = first.result == second.result
        results = (gate.result if same else _with_reason(gate) for gate in (first, second))
        yield _Line("gate", _named(first.number), *results)


def _named(gate: int) -> str:
    """A gate by its number and what it asks about."""
    return f"Gate {gate}, {ABOUT[gate - 1]}"


def _with_reason(gate: Gate) -> str:
    """Result of a gate and why; one that passed is brief."""
    why = (gate.brief or gate.reason) if gate.result == PASSED else gate.reason
    return f"{gate.result}: {why}"


def _fields(one: Recommendation, other: Recommendation) -> Iterator[_Line]:
    """What describes the zone itself."""
    for field in OF_ZONE:
        values = [getattr(item.evidence.zone, field) for item in (one, other)]
        title = Zone.model_fields[field].title or Zone.model_fields[field].description or field
        if field == "substrate":
            words = [Substrate.named(value).name for value in values]
        else:
            words = [NOTHING if value is None else _plain(value) for value in values]
        if set(words) != {NOTHING}:
            yield _Line("zone", title, *words)


def _plain(value: object) -> str:
    """A value of a record as it is said."""
    return f"{value:g}" if isinstance(value, float) else str(value).replace("_", " ")


def _layers(one: Recommendation, other: Recommendation) -> Iterator[_Line]:
    """Each soiling, growth or coating, and whether it is of value."""
    found = [_said_of_layers(item.evidence) for item in (one, other)]
    for name in dict.fromkeys((*found[0], *found[1])):
        yield _Line("layer", name, *(joined(said.get(name, ())) or NOTHING for said in found))


def _said_of_layers(evidence: ZoneEvidence) -> dict[str, list[str]]:
    """Layers of a zone by their names."""
    found: dict[str, list[str]] = {}
    for name, layer in layer_names(evidence):
        found.setdefault(name, []).append(_said_of_layer(layer))
    return found


def _said_of_layer(layer: Layer) -> str:
    """Value, cover and thickness of a layer."""
    parts = [f"value: {_plain(layer.value)}"]
    if layer.cover_pct is not None:
        parts.append(f"cover {layer.cover_pct:g} %")
    if layer.thickness_mm is not None:
        parts.append(f"{layer.thickness_mm:g} mm")
    return joined(parts, ", ")


def _recorded(one: Recommendation, other: Recommendation) -> Iterator[_Line]:
    """Answers given at the wall and the desk, in the order of the questions."""
    both = one.evidence, other.evidence
    for row in Topic.rows():
        findings = [evidence.finding(row.topic) for evidence in both]
        if any(finding is not None for finding in findings):
            words = (NOTHING if finding is None else _plain(finding) for finding in findings)
            yield _Line("recorded", row.question, *words)


def _measured(one: Recommendation, other: Recommendation) -> Iterator[_Line]:
    """Measured quantities, with their confidence intervals and units."""
    found = [_values(item.evidence) for item in (one, other)]
    for quantity in dict.fromkeys((*found[0], *found[1])):
        words = (joined(values.get(quantity, ())) or NOTHING for values in found)
        yield _Line("measured", upper_first(quantity), *words)


def _values(evidence: ZoneEvidence) -> dict[str, list[str]]:
    """Quantity to what was measured, one entry for each series or group of tests."""
    found: dict[str, list[str]] = {}
    for line in measured(measured_values(evidence)):
        found.setdefault(line.what, []).append(_value(line))
    return found


def _value(line: Measured) -> str:
    """One value with its unit, interval, how often it was measured, and its series."""
    number = joined(filter(None, (line.value, line.unit)), " ")
    around: Iterable[str] = filter(None, (line.span, line.count))
    said = f"{number} ({joined(around, '; ')})" if number else joined(around, "; ")
    return f"{line.series}: {said}" if line.series else said
