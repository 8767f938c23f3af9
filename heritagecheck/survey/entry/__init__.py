"""What a person types at the wall, and how it becomes records; no screen is known here."""
