"""What the renderer wrote: finding, reading, proving and cleaning passes."""
