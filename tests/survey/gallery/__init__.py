"""Folders of passes as renderers leave them, each with what is planted in it.

A small room is lit by a few lights. Nothing is rendered: every light is a formula over a picture
plane, in parts (direct and indirect, diffuse and specular) that add up to it, with the grain of a
path tracer. Habits save these pictures in the many ways in which light passes are exported; what
was planted is the truth that a survey is held against.

    python -m gallery FOLDER      (from tests/survey) writes all folders to look at
"""

from gallery.habits import HABITS
from gallery.planted import Planted, Truth

__all__ = ["HABITS", "Planted", "Truth"]
