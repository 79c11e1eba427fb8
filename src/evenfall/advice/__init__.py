"""What a senior colleague would say: advice, noise headroom, the meter report."""
