"""
What a photograph with a colour chart says about stone, and how sure that is.

`open_photograph` and `calibrate` make CIELAB of it; `difference_map`, `zone_statistics`,
`soiling_cover` and `mineral_fractions` measure in it; `measure` does all of it for one zone of a
survey.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
