"""Which screens a person has: none can be reached that another kind of person has."""

from __future__ import annotations

from collections.abc import Mapping

from heritagecheck.screens.meeting.agreement_shown import AgreementScreen
from heritagecheck.screens.meeting.facade import FacadeScreen
from heritagecheck.screens.meeting.join import JoinScreen
from heritagecheck.screens.meeting.leading import LeadScreen, TableScreen
from heritagecheck.screens.meeting.member_zone import MemberZone
from heritagecheck.screens.meeting.minutes import MinutesScreen
from heritagecheck.screens.meeting.seat import RoomScreen
from heritagecheck.screens.meeting.weights import WeightsScreen
from heritagecheck.screens.meeting.zone_cut import CutScreen
from heritagecheck.screens.meeting.zone_in_hand import WallScreen, ZoneInHandScreen
from heritagecheck.survey.meeting.privacy import FACILITATOR, MEMBER, Person


def screens_of(person: Person) -> Mapping[str, type[RoomScreen]]:
    """First word of a route to its screen, for one person."""
    if not person.role:
        return {"": JoinScreen}
    if person.kind == FACILITATOR:
        return {
            "": TableScreen, "zone": LeadScreen, "facade": FacadeScreen,
            "agreement": AgreementScreen, "minutes": MinutesScreen, "wall": WallScreen,
            "cut": CutScreen,
        }  # fmt: skip
    if person.kind == MEMBER:
        return {
            "": MemberZone, "weights": WeightsScreen, "facade": FacadeScreen,
            "agreement": AgreementScreen, "wall": WallScreen,
        }  # fmt: skip
    return {
        "": ZoneInHandScreen, "facade": FacadeScreen, "agreement": AgreementScreen,
        "wall": WallScreen,
    }  # fmt: skip
