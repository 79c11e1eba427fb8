"""The recipe in words: what is wrong with it, what was meant, and how its settings are said."""
