"""Drawings of elevations: made safe, followed, measured."""
