"""Many machines: moods and views as tasks of the Dask distributed engine (extra 'farm')."""
