from .curves.dose_response import dose_response
from .curves.plan import plan_trial
from .curves.window import tested_window
from .series import read_series

__all__ = [
    "dose_response",
    "plan_trial",
    "read_series",
    "tested_window",
]
