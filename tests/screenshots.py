"""Pictures of every page at the counter: `PYTHONPATH=tests python -m screenshots FOLDER`.

Each page as it stands on a desktop, in the dark, on a phone and on paper; a PDF of each sheet too. Without a folder,
the README's picture of an answer is taken anew.
"""

import re
import sys
import tempfile
from pathlib import Path
from typing import Any, Final

from counter_browser import DESKTOP, OPEN, PAGES, PHONE, Counter, browsing, context, serving
from playwright.sync_api import Browser

PAPER: Final = {"width": 718, "height": 1047}
"""A4 less its margins, in CSS pixels."""
README: Final = Path(__file__).parent.parent / ".pictures" / "answer.png"
READ_AT: Final = {"width": 1000, "height": 760}
"""What of a page the README shows, in CSS pixels."""
LOOKS: Final[dict[str, tuple[dict[str, int], dict[str, Any]]]] = {
    "desktop": (DESKTOP, {"color_scheme": "light"}),
    "dark": (DESKTOP, {"color_scheme": "dark"}),
    "phone": (PHONE, {"color_scheme": "light", "has_touch": True, "is_mobile": True, "device_scale_factor": 2}),
    "print": (PAPER, {"color_scheme": "light"}),
}


def take(browser: Browser, counter: Counter, folder: Path) -> None:
    """Take every picture."""
    for look, (size, options) in LOOKS.items():
        with context(browser, counter, size, **options) as window:
            page = window.new_page()
            for name, path in PAGES.items():
                page.goto(path)
                file = folder / f"{re.sub('[^a-z]+', '-', name)}-{look}"
                page.emulate_media(media="print" if look == "print" else "screen")
                page.screenshot(path=f"{file}.png", full_page=True)
                if look == "print":
                    page.pdf(path=f"{file}.pdf", format="A4")


def take_for_readme(browser: Browser, counter: Counter) -> None:
    """Take the README's picture: an answer that says what to measure."""
    with context(browser, counter, READ_AT, color_scheme="light") as window:
        page = window.new_page()
        page.goto(OPEN)
        page.screenshot(path=README)


def main() -> None:
    """Take them into the folder that the command names, or the README's."""
    if len(sys.argv) == 1:
        with tempfile.TemporaryDirectory() as data, serving(Path(data)) as counter, browsing() as browser:
            take_for_readme(browser, counter)
        return
    if len(sys.argv) != 2:
        raise SystemExit(__doc__)
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as data, serving(Path(data)) as counter, browsing() as browser:
        take(browser, counter, folder)
    print(f"{len(list(folder.iterdir()))} files in {folder}")


if __name__ == "__main__":
    main()
