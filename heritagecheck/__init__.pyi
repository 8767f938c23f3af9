from . import figures
from .documents.report import write_report
from .errors import SurveyError
from .evidence import colour, laser, photograph, section, surface, trials
from .judgement.agreement import agreement
from .judgement.assess import assess
from .judgement.policy import Policy
from .screens.cards import trial_card, zone_card
from .screens.meeting.workshop import workshop
from .screens.notebook.walk import notebook
from .screens.routes import elevation_map, start_page, zone_form
from .survey import records
from .survey.exchange.importing import import_survey
from .survey.places import demo_survey, open_survey
from .survey.store.saved_assessment import open_assessment

__version__: str

__all__ = [
    "Policy",
    "SurveyError",
    "__version__",
    "agreement",
    "assess",
    "colour",
    "demo_survey",
    "elevation_map",
    "figures",
    "import_survey",
    "laser",
    "notebook",
    "open_assessment",
    "open_survey",
    "photograph",
    "records",
    "section",
    "start_page",
    "surface",
    "trial_card",
    "trials",
    "workshop",
    "write_report",
    "zone_card",
    "zone_form",
]
