"""Where a survey is kept: database, journal, undo, backup, attachments."""
