"""What helps against noise, in one order and in the same words wherever it is spoken of."""

from __future__ import annotations

__all__ = ["AGAINST_NOISE", "INSTALL_DENOISER"]

INSTALL_DENOISER = "pip install 'evenfall[denoise]'"
"""Line that installs the denoiser."""

AGAINST_NOISE = (
    "denoise all passes alike (passes.repair.denoise = true), or denoise the finished mix "
    f"(look.denoise.strength = 1); both take {INSTALL_DENOISER}"
)
"""What is left where rendering longer is not possible."""
