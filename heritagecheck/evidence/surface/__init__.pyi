from .area_roughness import roughness
from .depth_loss import depth_removed
from .roughness_change import roughness_change
from .steel_texture import texture
from .stylus_profile import profile_roughness
from .treated_edge import edge_profile

__all__ = [
    "depth_removed",
    "edge_profile",
    "profile_roughness",
    "roughness",
    "roughness_change",
    "texture",
]
