"""
What it looks like: one drawing function a figure, the same for page, screen and notebook.

Each is imported on first use, so that a card without photographs loads nothing that measures them.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
