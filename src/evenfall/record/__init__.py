"""What was opened and what came out: digests, provenance, the report."""
