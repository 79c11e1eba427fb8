"""The look: everything from the exposed mix to display light."""
