"""The gates of a zone, in order: the first that does not pass sets the outcome."""
