"""A page on a clinic's animals in words: its head, its tables, and the treated over time."""
