"""A page on two methods in words: its head, and its tables."""
