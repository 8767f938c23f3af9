"""Photographs that measure: the sums behind `evidence/photograph.py`."""
