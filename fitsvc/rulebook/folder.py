"""Which files of a folder are rule files, and which look like some and would be passed over.

Rule files end in `.yaml` and stand in the folder itself or in one of the two that it has; what is hidden, as an
editor's locks and git's own files are, belongs to nobody's rules.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Final

from fitsvc.language.problems import Problem

BELOW: Final = ("vocabulary", "tables")
"""The folders below that hold rule files."""
_SUFFIXES: Final = (".yaml", ".yml")


def yaml_files(folder: Path) -> list[Path]:
    """Every file below a folder that is named as YAML and not hidden, whether it is read or not."""
    found = (path for path in folder.rglob("*.y*ml") if path.suffix in _SUFFIXES)
    return sorted(path for path in found if not any(part.startswith(".") for part in path.relative_to(folder).parts))


def rule_files(folder: Path) -> list[Path]:
    """The files that a rulebook is made from."""
    return [path for path in yaml_files(folder) if _is_read(folder, path)]


def passed_over(folder: Path) -> Iterator[Problem]:
    """A problem for each file that somebody may take for a part of the rules and that no rule is read from."""
    for path in yaml_files(folder):
        if not _is_read(folder, path):
            name = str(path.relative_to(folder.parent))
            if path.suffix != _SUFFIXES[0]:
                help = f"name it `{path.stem}{_SUFFIXES[0]}`"
            else:
                help = f"move it into the folder itself, or into {' or '.join(f'`{one}/`' for one in BELOW)}"
            yield Problem("this file is not read, so that nothing in it holds", help, file=name)


def _is_read(folder: Path, path: Path) -> bool:
    below = path.relative_to(folder).parts[:-1]
    return path.suffix == _SUFFIXES[0] and (not below or below in [(name,) for name in BELOW])
