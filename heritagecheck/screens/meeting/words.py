"""What is said before every meeting."""

from heritagecheck.documents.minutes import WHAT_IT_IS_NOT
from heritagecheck.sentences import FOR_APPROVAL
from heritagecheck.tables.cautions import ALWAYS, of_outcome

BEFORE_THE_MEETING = (*WHAT_IT_IS_NOT, of_outcome(ALWAYS).words, FOR_APPROVAL)
PRIVACY = (
    "Your answers stay private until the facilitator shows all of them.",
    "Whoever runs this computer can read them before that.",
    "What goes over the local network is not encrypted.",
    "Write roles, not names, in what you record.",
)
