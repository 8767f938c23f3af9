from . import colour, laser, photograph, trials

__all__ = ["colour", "laser", "photograph", "trials"]
