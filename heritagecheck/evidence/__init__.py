"""What the measurements say, and how sure one may be."""
