"""What goes to others with a recommendation: setting, limits, cautions, conditions, acceptance."""
