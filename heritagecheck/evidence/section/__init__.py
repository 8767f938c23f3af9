"""Cross-sections of treated metal: grain size, altered layer, residual stress against depth."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
