"""CIEDE2000 by colour-science, which takes longer to import than most comparing does.

It tells of packages that it would like to have beside it; that is of no interest here.
"""

from __future__ import annotations

import threading
import warnings

import numpy as np
import numpy.typing as npt

__all__ = ["ciede2000", "import_ahead"]

Floats = npt.NDArray[np.float32]


def import_ahead() -> None:
    """Begin to import colour-science in the background."""
    threading.Thread(target=_import, daemon=True).start()


def _import() -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour.difference  # noqa: F401


def ciede2000(lab_1: Floats, lab_2: Floats) -> Floats:
    """Colour differences of L*, a*, b* (CIE 15:2018, 8.3.1).

    Parameters
    ----------
    lab_1, lab_2 : ndarray of float32, shape (3, ...)

    Returns
    -------
    ndarray of float32, shape (...)

    Examples
    --------
    >>> one, other = np.array([[50, 50], [0, -1], [0, 2]], np.float32).T
    >>> round(float(ciede2000(one, other)), 4)
    2.3669
    """
    _import()
    from colour.difference import delta_E_CIE2000

    found = delta_E_CIE2000(np.moveaxis(lab_1, 0, -1), np.moveaxis(lab_2, 0, -1))
    return np.asarray(found).astype(np.float32)
