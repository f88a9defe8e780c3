"""Drawings set into the page: ours become part of it, anything else stays an image."""

from __future__ import annotations

from base64 import b64encode
from dataclasses import replace
from functools import partial

import numpy as np
import pytest

from bpvet.figures.save import svg_bytes
from bpvet.reports.drawings import drawn, inlined
from bpvet.reports.page import cleaned
from tests.figures.example_pictures import EXAMPLES


def _picture(svg: bytes) -> str:
    address = f"data:image/svg+xml;base64,{b64encode(svg).decode()}"
    source = f'<source media="(max-width: 40rem)" srcset="{address}">'
    return f'<figure><picture>{source}<img src="{address}" alt="a"></picture></figure>'


@pytest.mark.parametrize("name", ["three_courses", "long_text", "with_laboratory"])
def test_a_drawing_of_ours_becomes_part_of_the_page(name: str) -> None:
    shown = drawn(partial(svg_bytes, EXAMPLES[name](), links=True), "alt", "words").html
    html = inlined(cleaned(shown))
    assert html.count("<svg ") == 2
    assert "<img" not in html
    assert "<script" not in html
    assert 'data-kind="session"' in html
    assert "Records as of 20 November 2025</text>" in html


def test_a_hatched_band_is_ours_too() -> None:
    base = EXAMPLES["forty_sessions"]()
    band = base.panels[0].band
    assert band is not None
    doubted = replace(band, doubtful=np.arange(band.date.size) > 80)
    picture = replace(base, panels=(replace(base.panels[0], band=doubted),))
    html = inlined(cleaned(drawn(partial(svg_bytes, picture), "alt", "words").html))
    assert html.count("<pattern") == 2


OURS = svg_bytes(EXAMPLES["one_session"](), 85.0)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (b"</svg>", b"<script>alert(1)</script></svg>"),
        (b"</svg>", b"<foreignObject/></svg>"),
        (b"</svg>", b'<image href="https://example.org/x.png"/></svg>'),
        (b"</svg>", b'<a href="javascript:alert(1)"><path d="M 0 0"/></a></svg>'),
        (b"</svg>", b'<a href="https://example.org/"><path d="M 0 0"/></a></svg>'),
        (b"</svg>", b'<use xlink:href="https://example.org/x.svg#a"/></svg>'),
        (b"</svg>", b'<path d="M 0 0" style="fill: url(https://example.org/x)"/></svg>'),
        (b"</svg>", b'<g onload="alert(1)"/></svg>'),
        (b"stroke-linejoin:round", b"background:url(x)"),
        (b"<?xml", b'<!DOCTYPE svg [<!ENTITY a "b">]><?xml'),
        (b"</svg>", b""),
    ],
)
def test_anything_else_stays_an_image(old: bytes, new: bytes) -> None:
    assert inlined(_picture(OURS)).count("<svg ") == 2
    spoilt = OURS.replace(old, new)
    assert spoilt != OURS
    html = inlined(_picture(spoilt))
    assert "<svg" not in html
    assert html == _picture(spoilt)
