"""The form of a zone: one screen a task, in the order of work."""
