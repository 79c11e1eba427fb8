"""One picture over another, both premultiplied by their alpha.

Source: Porter and Duff 1984, "Compositing digital images", SIGGRAPH 84: the operator *over*.
"""

from __future__ import annotations

import numpy as np

from evenfall.look.arrays import Plane, Planes

__all__ = ["over"]


def over(front: Planes, front_alpha: Plane, back: Planes) -> Planes:
    """Put a premultiplied picture over another: ``front + (1 - alpha) back``.

    The same formula makes the alpha of the result from both alphas.

    Parameters
    ----------
    front : ndarray of float32, shape (3, ...)
        Already multiplied by its alpha; light without alpha (a glow) is added.
    front_alpha : ndarray of float32, shape (...)
        Coverage, 0 to 1.
    back : ndarray of float32, shape (3, ...)

    Returns
    -------
    ndarray of float32, shape (3, ...)

    Examples
    --------
    >>> glass = np.full((3, 1), 0.25, np.float32)
    >>> over(glass, np.array([0.5], np.float32), np.ones((3, 1), np.float32)).ravel().tolist()
    [0.75, 0.75, 0.75]
    """
    combined: Planes = back * (np.float32(1) - front_alpha)
    combined += front
    return combined
