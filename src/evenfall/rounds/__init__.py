"""Rounds of feedback: kept with what was asked and what came out, returned to, made again."""
