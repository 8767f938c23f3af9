from . import colour, laser, photograph, section, surface, trials

__all__ = ["colour", "laser", "photograph", "section", "surface", "trials"]
