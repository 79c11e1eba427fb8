"""Broken pixels and noise: found, counted, and mended only where the recipe asks."""
