from .curves.curve import DoseResponse, dose_response
from .curves.likelihood import iso_21254_threshold, likelihood_fit, profile_interval
from .curves.plan import TrialPlan, plan_trial
from .curves.window import Window, tested_window
from .damaged_fields import DamageLimits, damage_share_upper, excess_upper
from .field_effort import FieldPlan, plan_fields
from .panels import PanelSeries, margin_bounds, panel_series
from .series import SeriesTrial, read_series
from .spot_sheet import panels_for_margin
from .spots import SpotTrial, spot_trial

__all__ = [
    "DamageLimits",
    "DoseResponse",
    "FieldPlan",
    "PanelSeries",
    "SeriesTrial",
    "SpotTrial",
    "TrialPlan",
    "Window",
    "damage_share_upper",
    "dose_response",
    "excess_upper",
    "iso_21254_threshold",
    "likelihood_fit",
    "margin_bounds",
    "panel_series",
    "panels_for_margin",
    "plan_fields",
    "plan_trial",
    "profile_interval",
    "read_series",
    "spot_trial",
    "tested_window",
]
