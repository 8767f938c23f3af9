"""A simulation whose truth is known, against which the answers of an assessment are held."""
