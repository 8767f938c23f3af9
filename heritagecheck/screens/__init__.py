"""What one does on the screen: widgets only, no computing."""
