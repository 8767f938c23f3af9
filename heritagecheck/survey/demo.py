"""The example survey: the invented Quillmere Pumping Station."""

from __future__ import annotations

from heritagecheck.survey.carried import example_folder
from heritagecheck.survey.exchange import read_folder
from heritagecheck.survey.store import Survey


def demo_survey() -> Survey:
    """
    Survey of the invented Quillmere Pumping Station.

    Returns
    -------
    Survey
        Zones on three elevations of a granite engine house and a riveted water tower, and in the
        tower's closed legs. Every record is made up for the demonstration.

    Raises
    ------
    FileNotFoundError
        The example lies neither in the installed package nor in the checkout.
    """
    return read_folder(example_folder())
