"""Figures: pictures drawn in millimetres and written as SVG, PDF or PNG; nothing is computed.

A mark of a trend's figure stands on its own date and value, is one artist, and carries what it
stands for as its group id (`marking`); `svg` writes that out as attributes,
`bpvet.reports.drawings` sets our drawings (and no others) into the page, and
``tests/figures/test_honesty.py`` reads every one back. Only data have a colour.
"""
