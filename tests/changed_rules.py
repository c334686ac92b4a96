"""The shipped rules with one place changed, for tests of what is then told."""

import shutil
from pathlib import Path

from fitsvc.paths import data_dir


def changed(folder: Path, file: str, old: str, new: str) -> Path:
    """Copy the shipped rules with one place changed."""
    shutil.copytree(data_dir("rules"), folder / "rules")
    text = (folder / "rules" / file).read_text("utf-8")
    assert old in text
    (folder / "rules" / file).write_text(text.replace(old, new, 1), "utf-8")
    return folder / "rules"
