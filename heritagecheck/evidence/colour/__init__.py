"""Colour-meter readings become a colour difference with its doubt and the natural variation."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
