"""Panels and spots of a series in a guidance case, as tests/guidance/README.md describes them."""

from __future__ import annotations

from typing import Any

import numpy as np

from heritagecheck.survey.records.old_settings import scale_of
from heritagecheck.survey.records.quantities import Scale
from heritagecheck.tables import keyed

STEPS = 11  # settings of a ladder of spots


def scale_of_case(given: dict[str, str]) -> Scale:
    """Quantity and unit of the setting varied, as the case or its source writes them."""
    if "quantity" in given:
        return Scale(given["quantity"], given["unit"])
    return scale_of(given.get("unit", ""))[0]


def laid_on(series: list[dict[str, str]], bed: str | None) -> int:
    """Panels laid on the zone, or on the one of another bed."""
    return sum(
        int(given.get("laid", given.get("count", "1")))
        for given in series
        if given.get("bed") == bed
    )


def damaged_on_each(text: str | None, total: int | None, count: int) -> list[int | None]:
    """Damaged fields, panel by panel where the case says so, else spread."""
    if text is None:
        return [None] * count
    return [int(part) for part in text.split(",")] if total is None else [*shared(total, count)]


def spots_on_each(given: dict[str, str]) -> int:
    """Spots laid on each panel."""
    return STEPS * int(given["each"]) if "ladder" in given else 0


def spot_rows(
    given: dict[str, str], panels: list[dict[str, Any]], substrate: str
) -> list[dict[str, Any]]:
    """Spots from gentle to harsh on every panel: clean and damaged from the settings stated."""
    if "ladder" not in given:
        return []
    low, high = (float(end) for end in given["ladder"].split("-"))
    first_damage = ends(given.get("damage"))
    first_clean = float(given.get("clean_from") or given["cleaning"].split("-")[0])
    from_here = float(first_damage[0] or high) if first_damage[1] else np.inf
    scale = scale_of_case(given)
    weakest = keyed("substrates", "substrate")[substrate]["weakest_components"]
    return [
        {
            "spot": f"{panel['panel']}-{step + 1}-{number + 1}", "panel": panel["panel"],
            "zone": panel["zone"], "spots_on_panel": panel["spots_laid"],
            "dose": round(float(dose), 4), "dose_quantity": scale.quantity,
            "dose_unit": scale.unit,
            **_seen(panel, cleaned=dose >= first_clean * 0.999, damaged=dose >= from_here),
            "component": weakest if "x50_weakest" in given else None,
        }
        for panel in panels
        for step, dose in enumerate(np.geomspace(low, high, STEPS))
        for number in range(int(given["each"]))
    ]  # fmt: skip


def _seen(panel: dict[str, Any], *, cleaned: bool, damaged: bool) -> dict[str, Any]:
    """What a spot showed; nothing where its panel was not read."""
    if panel["read_on"] is None:
        return {"not_read_because": panel["not_read_because"]}
    return {
        "cleaned": "yes" if cleaned else "no", "damaged": "yes" if damaged else "no",
        "damage_kind": panel["damage_kind"] if damaged else None, "read_on": panel["read_on"],
        "read_by": "conservator",
    }  # fmt: skip


def ends(text: str | None) -> tuple[str | None, str | None]:
    """Read ``low-high``; an empty high end means that none was found."""
    if not text:
        return None, None
    low, _, high = text.partition("-")
    return low.strip(), high.strip() or None


def shared(total: int, count: int) -> list[int]:
    """Spread a number over panels as evenly as it goes."""
    return [total // count + (number < total % count) for number in range(count)]
