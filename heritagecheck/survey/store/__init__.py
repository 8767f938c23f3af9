"""Storage of a survey: database, journal, undo, backup, attachments."""
