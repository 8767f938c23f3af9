"""The view for the projector: few words, large enough for the back of a room."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

from heritagecheck.screens.meeting.zone_in_hand import ZoneInHandScreen


class WallScreen(ZoneInHandScreen):
    """What everybody may see of the zone in hand; while answers are private, how to join."""

    template = "meeting_wall.html"
    nav: ClassVar[str] = "On the wall"

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        return {**super().values(), "addresses": self.seat.addresses, "word": self.room.state.join}

    def picture(self, name: str) -> tuple[bytes, str]:
        """The code of the address, or a picture of the zone."""
        if name == self.seat.addresses.get("name"):
            return self.seat.addresses["code"].encode(), "image/svg+xml"
        return super().picture(name)
