"""What a survey still lacks before it can be assessed: empty tables, weights half given."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from heritagecheck.errors import Fault
from heritagecheck.survey.records import MAY_BE_EMPTY, TABLES
from heritagecheck.survey.records.fields import literal_choices
from heritagecheck.survey.records.record import Record

Records = Mapping[str, tuple[Record, ...]]
NO_ROW = "this table holds no row yet; write the first below its headings"
NOT_AGREED = (
    "no policy is agreed yet; go through the offered values, which fields.md lists, change what "
    "the team wants otherwise, and save them with the day on which they were agreed"
)


def gaps_before_assessment(
    records: Records,
    suffix: str = "",
    broken: frozenset[str] = frozenset(),
    *,
    policy_given: bool = False,
) -> list[Fault]:
    """What a survey still lacks before it can be assessed, or only by a policy given with it."""
    found = [
        Fault(table + suffix, None, "", "", NOT_AGREED if table == "policy" else NO_ROW)
        for table, kept in records.items()
        if not kept
        and table not in MAY_BE_EMPTY
        and table + suffix not in broken
        and not (table == "policy" and policy_given)
    ]
    if f"views{suffix}" not in broken:
        found.extend(_view_faults(records["views"], f"views{suffix}"))
    return found


def _view_faults(views: tuple[Record, ...], name: str) -> Iterator[Fault]:
    """Check that every member weighed every criterion, and not all with nothing."""
    swings: dict[str, dict[str, float]] = {}
    for view in views:
        swings.setdefault(getattr(view, "member"), {})[getattr(view, "criterion")] = getattr(  # noqa: B009
            view, "swing"
        )
    criteria = literal_choices(TABLES["views"], "criterion")
    for member, given in swings.items():
        missing = [criterion for criterion in criteria if criterion not in given]
        if missing:
            yield Fault(name, None, "member", member, f"gave no swing for {', '.join(missing)}")
        elif not any(swing for criterion, swing in given.items() if criterion != "resources"):
            yield Fault(
                name, None, "member", member,
                "needs a swing above 0 for at least one criterion other than resources",
            )  # fmt: skip
