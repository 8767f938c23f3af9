"""Trial spots laid on the panels of a guidance case."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

Rows = dict[str, list[dict[str, Any]]]
MINUTES = (5, 10, 15, 20, 25, 30, 40, 60, 90, 120, 180, 240)


def lay_spots(
    rows: Rows,
    seen: Callable[[int, float], tuple[bool, bool]],
    doses: tuple[float, ...] = MINUTES * 2,
    unit: str = "min",
    quantity: str = "dwell",
) -> Rows:
    """
    Lay the same spots on each panel.

    Parameters
    ----------
    rows : dict
        Plain rows of a survey; changed in place.
    seen : callable
        Whether the spot of a number (over all panels) at a dose came clean, and was damaged.
    doses : tuple of float
        Dose of each spot of a panel.
    unit : str
        Unit of the doses.
    quantity : str
        What they are.

    Returns
    -------
    dict
        The rows.
    """
    rows["spots"] = []
    for panel in rows["panels"]:
        panel["spots_laid"] = len(doses)
        for dose in doses:
            number = len(rows["spots"])
            cleaned, damaged = seen(number, dose)
            rows["spots"].append(
                {
                    "spot": f"S{number}", "panel": panel["panel"], "zone": panel["zone"],
                    "spots_on_panel": len(doses), "dose": dose,
                    "dose_quantity": quantity, "dose_unit": unit,
                    "cleaned": "yes" if cleaned else "no", "damaged": "yes" if damaged else "no",
                    "read_on": panel["read_on"],
                }
            )  # fmt: skip
    return rows
