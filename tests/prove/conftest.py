"""The noisy room in a size of its own: a quarter of the pixels prove the same in less time."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

SIZE = (136, 240)  # some 2,000 blocks of 4 x 4 pixels


@pytest.fixture(scope="session")
def studio(studio_of: Any) -> Any:
    """The room at 240x136, clean and as noisy renderings."""
    return studio_of(*SIZE)


@pytest.fixture(scope="session")
def studio_passes(studio: Any) -> dict[str, np.ndarray]:
    """One noisy rendering of each light; copy before changing."""
    return studio.passes()


@pytest.fixture(scope="session")
def studio_beauty(studio: Any) -> np.ndarray:
    """The beauty of the same room, noise of its own; copy before changing."""
    return studio.beauty()
