"""What trials show: panels, spots at their settings, the curves, the window, the next trial."""

from __future__ import annotations

from heritagecheck.evidence._trials.dose import DoseResponse, dose_response
from heritagecheck.evidence._trials.likelihood import (
    iso_21254_threshold,
    likelihood_fit,
    profile_interval,
)
from heritagecheck.evidence._trials.plan import TrialPlan, plan_trial
from heritagecheck.evidence._trials.window import Window, tested_window
from heritagecheck.evidence.damaged_fields import (
    DamageLimits,
    damage_share_upper,
    excess_upper,
)
from heritagecheck.evidence.field_effort import FieldPlan, plan_fields
from heritagecheck.evidence.panel_series import PanelSeries, margin_bounds, panel_series
from heritagecheck.evidence.series_trial import SeriesTrial, read_series
from heritagecheck.evidence.spot_sheet import panels_for_margin
from heritagecheck.evidence.spot_trial import SpotTrial, spot_trial

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
