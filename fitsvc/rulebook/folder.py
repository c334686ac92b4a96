"""Which files of a folder are rule files, and which look like some and would be passed over.

Rule files end in `.yaml` and stand in the folder itself or in one of the two that it has; what is hidden, as an
editor's locks and git's own files are, belongs to nobody's rules.
"""

from collections.abc import Iterator, Mapping
from pathlib import Path, PurePosixPath
from typing import Final

from fitsvc.language.problems import Problem, ProblemsFound

BELOW: Final = ("vocabulary", "tables")
"""The folders below that hold rule files."""
TONGUES: Final = "words"
"""The folder below that holds words in other languages, from which no rule is made."""
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
        if not _is_read(folder, path) and path.parent != folder / TONGUES:
            name = str(path.relative_to(folder.parent))
            if path.suffix != _SUFFIXES[0]:
                help = f"name it `{path.stem}{_SUFFIXES[0]}`"
            else:
                help = f"move it into the folder itself, or into {' or '.join(f'`{one}/`' for one in BELOW)}"
            yield Problem("this file is not read, so that nothing in it holds", help, file=name)


def texts_of(folder: Path) -> dict[str, str]:
    """The text of each rule file by its path in the folder; ProblemsFound for one that cannot be read."""
    texts = {}
    for path in rule_files(folder):
        try:
            texts[path.relative_to(folder).as_posix()] = path.read_text("utf-8")
        except (OSError, UnicodeDecodeError):
            file = str(path.relative_to(folder.parent))
            raise ProblemsFound([Problem("this file cannot be read", "write it in UTF-8", file=file)]) from None
    return texts


def lay_out(texts: Mapping[str, str], folder: Path) -> None:
    """Write rule files into a folder that is made for them; ValueError for a path that is no rule file's."""
    for name in texts:
        if (
            PurePosixPath(name).is_absolute()
            or ".." in PurePosixPath(name).parts
            or not _is_read(folder, folder / name)
        ):
            raise ValueError(f"`{name}` is not the path of a rule file")
    for name in ("", *BELOW):
        (folder / name).mkdir(parents=True, exist_ok=True)
    for name, text in texts.items():
        (folder / name).write_text(text, "utf-8", newline="")


def _is_read(folder: Path, path: Path) -> bool:
    below = path.relative_to(folder).parts[:-1]
    return path.suffix == _SUFFIXES[0] and (not below or below in [(name,) for name in BELOW])
