"""OpenEXR files: scanned by ourselves before the library decodes them."""
