"""From the units of the trade to three factors R, G, B: colour, gain, ratios, daylight."""
