"""Settings of trial panels: what was dialled, and whether it is recorded in full."""
