"""Colour: the sums behind `evidence/colour.py`."""
