"""The camera: metering, exposure, white balance."""
