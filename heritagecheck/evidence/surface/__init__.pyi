from .material_loss import depth_removed
from .roughness_change import roughness_change
from .roughness_parameters import profile_roughness, roughness
from .steel_texture import texture
from .treated_edge import edge_profile

__all__ = [
    "depth_removed",
    "edge_profile",
    "profile_roughness",
    "roughness",
    "roughness_change",
    "texture",
]
