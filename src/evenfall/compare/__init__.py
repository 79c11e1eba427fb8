"""What differs: between two recipes in words, between two pictures in figures."""
