"""Choosing the next question. Knows rules, not words."""
