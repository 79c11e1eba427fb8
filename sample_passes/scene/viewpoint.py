"""Where the camera stands and how it looks: level, its picture shifted up or down."""

from __future__ import annotations

EYE = (0.62, -1.45, 1.62)  # metres
YAW_DEGREES = -3.0  # to the left of +y
HORIZON = 0.53  # of the picture's height, from the top
FOCAL_MM, FILM_MM = 24.0, 36.0
