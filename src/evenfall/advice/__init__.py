"""What a senior colleague would say: advice, noise headroom, the facts of a mood."""

from evenfall.advice.facts import LightFacts, MoodFacts
from evenfall.advice.rules import ADVICE_CODES, advise, advise_on_facts

__all__ = ["ADVICE_CODES", "LightFacts", "MoodFacts", "advise", "advise_on_facts"]
