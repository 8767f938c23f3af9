from .curves.curve import DoseResponse, dose_response
from .curves.plan import plan_trial
from .curves.window import Window, tested_window
from .damaged_fields import plan_fields
from .series import SeriesTrial, read_series
from .spot_fits import panels_for_margin
from .spots import spot_trial

__all__ = [
    "DoseResponse",
    "SeriesTrial",
    "Window",
    "dose_response",
    "panels_for_margin",
    "plan_fields",
    "plan_trial",
    "read_series",
    "spot_trial",
    "tested_window",
]
