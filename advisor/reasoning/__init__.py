"""Judging over what is still possible, choosing a set, and explaining it. Knows no words."""
