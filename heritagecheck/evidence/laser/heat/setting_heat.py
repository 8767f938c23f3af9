"""Sentences on the surfaces that a laser setting heats, cached on disk."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from heritagecheck import answer_cache
from heritagecheck.evidence.laser.heat.heated_surface import SurfaceTemperature
from heritagecheck.evidence.laser.heat.layers import START_C
from heritagecheck.evidence.laser.heat.surface_temperature import surface_temperature
from heritagecheck.sentences import joined

_LEFT_COUNTS = 0.1  # of the peak's rise: from there on heat left is spoken of


class Heating(NamedTuple):
    """Surfaces, by their materials, and the setting as `surface_temperature` takes it."""

    surfaces: tuple[str, ...]
    setting: Mapping[str, Any]

    @property
    def asked(self) -> str:
        """Key in the cache."""
        return f"heat {self.surfaces} {sorted(self.setting.items())}"


def heated(heating: Heating) -> tuple[SurfaceTemperature, ...]:
    """How hot each surface gets."""
    return tuple(surface_temperature(one, **heating.setting) for one in heating.surfaces)


def said_of_heat(heating: Heating) -> dict[str, Any]:
    """Lines of a trial sheet, and alterations for a caution, worked out once on this machine."""

    def work() -> dict[str, Any]:
        found = heated(heating)
        return {"lines": list(_lines(found)), "alterations": list(_alterations(found))}

    return answer_cache.kept(heating.asked, work)


def _lines(found: Sequence[SurfaceTemperature]) -> Iterator[str]:
    """Each surface in its sentences, then what the next trial takes from them."""
    for one in found:
        yield " ".join([*one.sentences(), *one.no_number.values()])
    altered = [one.surface.name for one in found if one.may_alter]
    if altered:
        yield (
            f"Any further trial begins at a lower fluence, and {joined(altered, ', ')} is read at "
            "×50 for this alteration."
        )
    if any(map(_left_counts, found)):
        yield "Heat left between pulses adds to the next one: lower the pulse rate."
    if any(one.followed < one.pulses or one.pulses > 1 for one in found):
        yield "Further pulses, lines and passes add heat: wait between passes."


def _alterations(found: Sequence[SurfaceTemperature]) -> Iterator[str]:
    """Each surface that the heat alters, or may alter."""
    for one in found:
        name = one.surface.name
        if one.molten_um is not None and one.molten_um[0] > 0:
            least, most = (f"{depth:.2g}" for depth in one.molten_um)
            yield f"{name} melts {least} µm deep, at most {most} µm"
        elif one.alters_from_c is None or (one.peak is not None and not one.may_alter):
            continue
        elif one.peak is not None and one.peak.value_c >= one.alters_from_c:
            hot = one.peak.told(one.known_to_c)
            yield f"{name} reaches {hot}, and alters from {one.alters_from_c:,g} °C"
        else:
            yield (
                f"alteration of {name} cannot be excluded; it begins at {one.alters_from_c:,g} °C"
            )


def _left_counts(one: SurfaceTemperature) -> bool:
    """Whether heat left between pulses is a part of the peak that counts."""
    if one.left is None:
        return False
    rise = one.left.high_c - START_C
    return one.peak is None or rise > _LEFT_COUNTS * (one.peak.high_c - START_C)
