"""
What a height map or a stylus profile says about a surface, and how sure that is.

`roughness` and `profile_roughness` describe one surface; `depth_removed` says what a trial took
away, `edge_profile` what happened at its border, `texture` how a laser-textured steel is made.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
