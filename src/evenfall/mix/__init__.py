"""The mix: balance, plan and the engine that sums passes into moods."""
