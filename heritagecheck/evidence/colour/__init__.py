"""Colour-meter readings become a colour difference with its uncertainty."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
