"""Pages that others read, check and approve; they compute nothing."""
