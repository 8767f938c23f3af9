"""What contradicts in a survey, what is missing in it, and what looks odd."""
