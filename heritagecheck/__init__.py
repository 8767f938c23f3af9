"""
Clean it or leave it? Evidence, gates and least harm, zone by zone.

Every public name stands in `__all__` and is imported on first use, so that a form or a command
that needs little loads little.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from heritagecheck import figures
    from heritagecheck.documents.report import write_report
    from heritagecheck.errors import ReportError, SurveyError
    from heritagecheck.evidence import colour, laser, photograph, trials
    from heritagecheck.judgement.policy import Policy
    from heritagecheck.judgement.recommend import assess
    from heritagecheck.screens.trial_card import trial_card
    from heritagecheck.screens.zone_card import zone_card
    from heritagecheck.survey.demo import demo_survey
    from heritagecheck.survey.importing import import_survey
    from heritagecheck.survey.opened import open_survey
    from heritagecheck.survey.outcomes import open_assessment

__version__ = "2026.4"

_PLACES = {
    "Policy": "judgement.policy:Policy",
    "ReportError": "errors:ReportError",
    "SurveyError": "errors:SurveyError",
    "assess": "judgement.recommend:assess",
    "colour": "evidence.colour",
    "demo_survey": "survey.demo:demo_survey",
    "figures": "figures",
    "import_survey": "survey.importing:import_survey",
    "laser": "evidence.laser",
    "open_assessment": "survey.outcomes:open_assessment",
    "open_survey": "survey.opened:open_survey",
    "photograph": "evidence.photograph",
    "trial_card": "screens.trial_card:trial_card",
    "trials": "evidence.trials",
    "write_report": "documents.report:write_report",
    "zone_card": "screens.zone_card:zone_card",
}

__all__ = [
    "Policy",
    "ReportError",
    "SurveyError",
    "__version__",
    "assess",
    "colour",
    "demo_survey",
    "figures",
    "import_survey",
    "laser",
    "open_assessment",
    "open_survey",
    "photograph",
    "trial_card",
    "trials",
    "write_report",
    "zone_card",
]


def __getattr__(name: str) -> Any:
    """Import a public name on first use (PEP 562)."""
    if name not in _PLACES:
        raise AttributeError(f"module 'heritagecheck' has no attribute {name!r}")
    module, _, inner = _PLACES[name].partition(":")
    found = import_module(f"heritagecheck.{module}")
    value = getattr(found, inner) if inner else found
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    """List the public names."""
    return sorted(__all__)
