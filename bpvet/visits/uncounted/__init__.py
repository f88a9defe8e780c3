"""What stands in the records and no number rests on: each kind in a module of its own."""
