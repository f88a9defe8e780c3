"""Two methods against each other, and two situations, in words."""
