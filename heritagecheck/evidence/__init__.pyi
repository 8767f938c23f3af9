from . import colour, laser, photograph, section, trials

__all__ = ["colour", "laser", "photograph", "section", "trials"]
