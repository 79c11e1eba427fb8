"""A whole run: from a recipe and passes to deliverables and a report."""
