"""Changes in the words of the trade, counted from where things stand, written into a recipe."""
