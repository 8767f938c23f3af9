"""
Clean it or leave it? Evidence, gates and least harm, zone by zone.

Every public name stands in `__all__` and is imported on first use, so that a form or a command
that needs little loads little.
"""

import lazy_loader

__version__ = "2026.11"

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
__all__ += ["__version__"]
