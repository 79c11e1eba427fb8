"""Which passes there are, or should be: survey of a folder, roles, the pass plan."""
