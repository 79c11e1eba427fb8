"""From what a picture should show to gains and exposures: first balances."""
