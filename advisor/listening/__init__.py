"""From the words of a message to facts heard. Only this package imports spaCy."""
