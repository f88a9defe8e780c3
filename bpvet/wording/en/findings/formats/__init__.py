"""Findings of the readers of each form of file: a module a reader."""
