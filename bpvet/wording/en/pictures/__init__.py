"""What pictures say: titles, axes, captions and alternative texts, a module a picture.

`drawn` holds what the figures write by themselves, whatever they show: keys, axes, pointers.
"""
