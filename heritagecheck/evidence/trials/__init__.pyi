from .curves.curve import dose_response
from .curves.plan import plan_trial
from .curves.window import tested_window
from .damaged_fields import plan_fields
from .series import read_series
from .spot_fits import panels_for_margin

__all__ = [
    "dose_response",
    "panels_for_margin",
    "plan_fields",
    "plan_trial",
    "read_series",
    "tested_window",
]
