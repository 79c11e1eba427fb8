"""Files of light that are not OpenEXR: Radiance, float TIFF, portable float maps."""
