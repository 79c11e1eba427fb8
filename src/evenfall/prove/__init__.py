"""Whether the passes add up to the beauty, and if not, why not."""
