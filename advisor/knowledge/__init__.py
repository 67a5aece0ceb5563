"""What is true: facts, rules, arrangements, items and tables, loaded once into one graph and never changed."""
