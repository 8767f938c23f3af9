"""A meeting while it lasts: who is in the room, what is private, and what goes into the survey."""
