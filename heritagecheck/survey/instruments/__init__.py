"""Files of instruments: the one door to reading those of colour meters and of profilometers."""

from heritagecheck.survey.instruments.height_files import HeightFile, read_height_map
from heritagecheck.survey.instruments.meter import read_meter_file
from heritagecheck.survey.instruments.meter_file import Measured, MeterColour, MeterFile
from heritagecheck.survey.instruments.profile_files import read_profile

__all__ = [
    "HeightFile",
    "Measured",
    "MeterColour",
    "MeterFile",
    "read_height_map",
    "read_meter_file",
    "read_profile",
]
