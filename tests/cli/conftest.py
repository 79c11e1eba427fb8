"""The noisy room in a size of its own, as commands find it: what they say does not hang on it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest


@pytest.fixture(scope="session")
def studio(studio_of: Callable[[int, int], Any]) -> Any:
    """The room at 240x136, clean and as noisy renderings."""
    return studio_of(136, 240)


@pytest.fixture(scope="session")
def studio_passes(studio: Any) -> dict[str, np.ndarray]:
    """One noisy rendering of each light; copy before changing."""
    return studio.passes()


@pytest.fixture(scope="session")
def studio_beauty(studio: Any) -> np.ndarray:
    """The beauty of the same room, noise of its own; copy before changing."""
    return studio.beauty()
