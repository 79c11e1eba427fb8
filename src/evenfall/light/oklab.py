"""OKLab: lightness and hue at even steps for the eye, for the colours of drawings.

Source: B. Ottosson, "A perceptual color space for image processing" (2020).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

__all__ = ["bt709_to_oklab", "oklab_to_bt709"]

Floats = npt.NDArray[np.float64]

_TO_LMS = np.array(
    [
        [1.0, 0.3963377774, 0.2158037573],
        [1.0, -0.1055613458, -0.0638541728],
        [1.0, -0.0894841775, -1.2914855480],
    ]
)
_LMS_TO_BT709 = np.array(
    [
        [4.0767416621, -3.3077115913, 0.2309699292],
        [-1.2684380046, 2.6097574011, -0.3413193965],
        [-0.0041960863, -0.7034186147, 1.7076147010],
    ]
)


def oklab_to_bt709(lab: Floats) -> Floats:
    """Linear BT.709 of OKLab colours; outside 0 to 1 where BT.709 cannot show them.

    Parameters
    ----------
    lab : ndarray, shape (..., 3)
        Lightness 0 to 1, and the two axes of hue.

    Examples
    --------
    >>> oklab_to_bt709(np.array([1.0, 0.0, 0.0])).round(4).tolist()
    [1.0, 1.0, 1.0]
    """
    linear: Floats = (lab @ _TO_LMS.T) ** 3 @ _LMS_TO_BT709.T
    return linear


def bt709_to_oklab(linear: Floats) -> Floats:
    """OKLab of linear BT.709 values, shape (..., 3); the inverse of `oklab_to_bt709`.

    Examples
    --------
    >>> bt709_to_oklab(np.array([1.0, 1.0, 1.0])).round(4).tolist()[0]
    1.0
    """
    lms = np.cbrt(linear @ np.linalg.inv(_LMS_TO_BT709).T)
    lab: Floats = lms @ np.linalg.inv(_TO_LMS).T
    return lab
