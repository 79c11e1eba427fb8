"""What the person wrote: the recipe, read, checked and written back."""
