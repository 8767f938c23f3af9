"""The trials of a zone: series of panels, each panel, and the spots on it."""
