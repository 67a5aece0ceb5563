"""How it is said: everything under dialogues/, read and checked."""
