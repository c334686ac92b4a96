"""An audit's summary as one file: the face of the pages at the counter, and nothing that it would have to load."""

import re

from fitsvc.audits import page
from fitsvc.service.counter.rendering import assets

TOKEN = re.compile(r"--([a-z]+): ?(#[0-9a-f]{6})")


def test_the_summary_has_the_colours_of_the_counter() -> None:
    """Each of its colours, by day and by night, is that of the pages of the same name; it asks no other file."""
    pages, own = (TOKEN.findall(text) for text in (assets()["counter.css"].decode(), page._STYLE))
    assert len(own) == 10
    assert [one for one in own if one not in pages] == []
    assert "url(" not in page._STYLE and "@import" not in page._STYLE
