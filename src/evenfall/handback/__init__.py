"""The way back to the scene: what a balance means for the lamps of the next render."""
