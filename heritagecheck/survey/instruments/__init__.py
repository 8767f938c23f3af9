"""Files of instruments: the one door to reading those of meters, profilometers, laboratories."""

from heritagecheck.survey.instruments.height_files import HeightFile, read_height_map
from heritagecheck.survey.instruments.meter import read_meter_file
from heritagecheck.survey.instruments.meter_file import Measured, MeterColour, MeterFile
from heritagecheck.survey.instruments.profile_files import read_profile
from heritagecheck.survey.instruments.stress_reader import read_stress_file
from heritagecheck.survey.instruments.stress_values import StressFile, StressHead, StressRow

__all__ = [
    "HeightFile",
    "Measured",
    "MeterColour",
    "MeterFile",
    "StressFile",
    "StressHead",
    "StressRow",
    "read_height_map",
    "read_meter_file",
    "read_profile",
    "read_stress_file",
]
