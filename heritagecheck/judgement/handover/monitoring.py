"""What is watched on a zone, how, and when someone returns."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.tables.conditions import holds
from heritagecheck.tables.row_types import MonitoringRow


@dataclass(frozen=True, slots=True)
class Monitoring:
    """What is watched, how, and what brings someone back."""

    indicator: str
    method: str
    trigger: str
    return_on: date

    def __str__(self) -> str:
        """Give the watch in a sentence."""
        return (
            f"watch the {self.indicator} ({self.method}); trigger: {self.trigger}; "
            f"return by {self.return_on}"
        )


def monitoring_of(outcome: str, evidence: ZoneEvidence) -> Monitoring:
    """What is watched on a zone, and when someone returns."""
    facts = {**evidence.facts, "outcome": frozenset({outcome})}
    row = next(row for row in MonitoringRow.rows() if holds(row.when, facts))
    return Monitoring(
        row.indicator,
        row.method,
        row.trigger,
        evidence.survey_date + timedelta(days=row.interval_days),
    )
