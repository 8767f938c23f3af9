from . import records

__all__ = ["records"]
