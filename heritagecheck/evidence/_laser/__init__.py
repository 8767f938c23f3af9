"""Laser cleaning in numbers: the sums behind `evidence/laser.py`."""
