"""From a recipe and a source of passes to developed moods."""
