"""Advice on door hardware: an engine that holds no rule and no sentence."""
