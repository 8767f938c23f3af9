"""Published thresholds of laser cleaning, as their sources print them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from heritagecheck import tables

if TYPE_CHECKING:
    import pandas as pd


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
