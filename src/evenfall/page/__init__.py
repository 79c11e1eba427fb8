"""The review page: one file that a client opens, compares moods in, and comments on."""
