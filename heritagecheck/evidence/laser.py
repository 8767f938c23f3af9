"""Laser cleaning in numbers: fluence, thresholds, incubation, depth, settings, hazard distance."""

from __future__ import annotations

from typing import TYPE_CHECKING

from heritagecheck import tables
from heritagecheck.evidence._laser.ablation import (
    CraterThreshold,
    ablation_depth,
    crater_threshold,
    crater_volume,
    greatest_removal_per_energy,
    incubated_threshold,
    incubation,
    most_efficient_fluence,
    removal_per_energy,
)
from heritagecheck.evidence._laser.beam import (
    crater_diameter,
    effective_area,
    energy_inside_radius,
    fluence_at_radius,
    mean_fluence,
    peak_fluence,
    peak_irradiance,
    squared_crater_diameter,
    threshold_pulse_energy,
)
from heritagecheck.evidence._laser.hazard import (
    HazardDistance,
    OpticalDensity,
    hazard_distance,
    hazard_distance_diffuse,
    hazard_distance_lens,
    optical_density,
)
from heritagecheck.evidence._laser.scan import (
    Dial,
    area_rate,
    hatch_overlap,
    pulse_overlap,
    pulses_per_spot,
    settings,
    weighted_pulses_area,
    weighted_pulses_line,
)

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "CraterThreshold",
    "Dial",
    "HazardDistance",
    "OpticalDensity",
    "ablation_depth",
    "area_rate",
    "crater_diameter",
    "crater_threshold",
    "crater_volume",
    "effective_area",
    "energy_inside_radius",
    "fluence_at_radius",
    "greatest_removal_per_energy",
    "hatch_overlap",
    "hazard_distance",
    "hazard_distance_diffuse",
    "hazard_distance_lens",
    "incubated_threshold",
    "incubation",
    "mean_fluence",
    "most_efficient_fluence",
    "optical_density",
    "peak_fluence",
    "peak_irradiance",
    "published_thresholds",
    "pulse_overlap",
    "pulses_per_spot",
    "removal_per_energy",
    "settings",
    "squared_crater_diameter",
    "threshold_pulse_energy",
    "weighted_pulses_area",
    "weighted_pulses_line",
]


def published_thresholds() -> pd.DataFrame:
    """
    Thresholds of minerals, steel and soilings from papers, for plausibility only.

    Returns
    -------
    pandas.DataFrame
        One row a value: row, quantity, material, wavelength_nm, pulse, pulses, value, plus_minus,
        unit, fluence_is (whether peak or mean), damages (substrates of which the judgement
        expects damage from that value on), note, source, evidence.

    Notes
    -----
    Never a site value: the threshold of your stone is that of its own trial. These were found on
    other stones, mostly fresh, with one wavelength and pulse; most sources do not say whether
    they print the peak or the mean, which alone is a factor of two. Use them to see whether a
    threshold of your own is of a likely size.

    References
    ----------
    .. [1] The column `source` names the paper of each row; `evidence` says whether the value was
       read in it or is only remembered ("from memory": an order of magnitude, not published).

    Examples
    --------
    >>> from heritagecheck.evidence import laser
    >>> found = laser.published_thresholds()
    >>> found.loc[found["material"] == "biotite", ["value", "plus_minus", "unit"]].values.tolist()
    [[1.1, 0.1, 'J/cm²']]
    """
    import pandas as pd

    found = pd.DataFrame(list(tables.rows("laser_thresholds")))
    for name in ("value", "plus_minus", "wavelength_nm"):
        found[name] = pd.to_numeric(found[name])
    found["source"] = [tables.citation(source_id) for source_id in found["source_id"]]
    return found.drop(columns=["source_id", "source_seen"])
