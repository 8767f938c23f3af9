"""Dose-response curves of trial spots: the fit, limits, the tested window, the next trial."""
