"""Figures of developed moods."""
