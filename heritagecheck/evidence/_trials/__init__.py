"""Trial spots: the sums behind `evidence/trials.py`."""
