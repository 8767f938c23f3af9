"""What trials show: panels, spots at their settings, the curves, the window, the next trial."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
