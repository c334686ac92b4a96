"""Which files of a folder are rule files, and which look like some and would be passed over.

Rule files end in `.yaml` and stand in the folder itself or in one of the two that it has; what is hidden, as an
editor's locks and git's own files are, belongs to nobody's rules. A folder with `overlay.yaml` adds to another, which
is read with it: the one below it named `core`, or else fitsvc's own.
"""

import re
from collections.abc import Iterator, Mapping
from pathlib import Path, PurePosixPath
from typing import Final

from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.paths import data_dir

TOP_FILE: Final = "rulebook.yaml"
"""The file that makes a folder a whole rulebook."""
HAZARDS: Final = "hazards.yaml"
"""What bears on each rating: tests look by it for what the rules forget, and no answer rests on it."""
WORDS: Final = "words.yaml"
"""What people call what is stored: what is typed is looked up by it, and no answer rests on it."""
OVERLAY: Final = "overlay.yaml"
"""The file that makes a folder an overlay: rules that add to others."""
CORE: Final = "core"
"""The folder below an overlay with the rules that it adds to, as in one that was published."""
BELOW: Final = ("vocabulary", "tables")
"""The folders below that hold rule files."""
TONGUES: Final = "words"
"""The folder below that holds words in other languages, from which no rule is made; it is kept with the rules."""
RULINGS: Final = ("rules", "limits", "needs")
"""The sections of a topic whose entries have an id and come to a result."""
_SUFFIX: Final = ".yaml"
_NAMED: Final = re.compile(r"(?P<stem>.+?)[.]ya?ml(?P<more>([.]\w+)*)", re.IGNORECASE)
"""A file that its name calls YAML, in whatever letters and whatever an editor or a download has put behind it."""


def yaml_files(folder: Path) -> list[Path]:
    """Every file below a folder that is named as YAML and not hidden, whether it is read or not."""
    return [path for path in _called_yaml(folder) if path.suffix in (_SUFFIX, ".yml")]


def _called_yaml(folder: Path) -> list[Path]:
    found = (path for path in folder.rglob("*") if _NAMED.fullmatch(path.name) and path.is_file())
    return sorted(path for path in found if not any(part.startswith(".") for part in path.relative_to(folder).parts))


def rule_files(folder: Path) -> list[Path]:
    """The files of a folder itself that a rulebook is made from."""
    return [path for path in yaml_files(folder) if _is_read(folder, path)]


def core_of(folder: Path) -> Path | None:
    """The folder of the rules that an overlay adds to; None of a folder that is none."""
    if not (folder / OVERLAY).is_file():
        return None
    return folder / CORE if (folder / CORE).is_dir() else data_dir("rules")


def all_files(folder: Path) -> dict[str, Path]:
    """Every file that a rulebook is made from, by its name in the folder; those of an overlay's core below `core`."""
    core = core_of(folder)
    of_core = {} if core is None else {f"{CORE}/{name}": path for name, path in _named(core).items()}
    return of_core | _named(folder)


def tongue_files(folder: Path) -> dict[str, Path]:
    """Every file with words in other languages, named as `all_files` names those of rules."""
    core, found = core_of(folder), dict[str, Path]()
    for before, one in (*([(f"{CORE}/", core)] if core else []), ("", folder)):
        found |= {f"{before}{TONGUES}/{path.name}": path for path in _called_yaml(one) if _is_of_words(one, path)}
    return found


def kept_files(folder: Path) -> dict[str, Path]:
    """Every file that a folder is kept with, wherever it is kept whole: those of its rules and its words."""
    return all_files(folder) | tongue_files(folder)


def passed_over(folder: Path) -> Iterator[Problem]:
    """A problem for each file that somebody may take for a part of the rules and that no rule is read from."""
    core = core_of(folder)
    for path in _called_yaml(folder):
        of_core = core is not None and path.is_relative_to(folder / CORE)
        if not of_core and not _is_read(folder, path) and not _is_of_words(folder, path):
            name, called = str(path.relative_to(folder.parent)), _NAMED.fullmatch(path.name)
            if path.suffix != _SUFFIX and called is not None:
                help = f"name it `{called['stem']}{_SUFFIX}`"
                help += ", or take it out of the folder" if called["more"] else ""
            else:
                help = f"move it into the folder itself, or into {' or '.join(f'`{one}/`' for one in BELOW)}"
            yield Problem("this file is not read, so that nothing in it holds", help, file=name)
    if core is not None:
        yield from passed_over(core)


def texts_of(folder: Path) -> dict[str, str]:
    """The text of each file that a folder is kept with by its name; ProblemsFound for one that cannot be read.

    So it is for a file that would be passed over, since whoever takes the texts away would not see it again.
    """
    if problems := [*passed_over(folder)]:
        raise ProblemsFound(problems)
    texts = {}
    for name, path in kept_files(folder).items():
        try:
            texts[name] = path.read_text("utf-8")
        except (OSError, UnicodeDecodeError):
            file = shown_as(path)
            raise ProblemsFound([Problem("this file cannot be read", "write it in UTF-8", file=file)]) from None
    return texts


def lay_out(texts: Mapping[str, str], folder: Path) -> None:
    """Write the files of rules into a folder that is made for them; ValueError for a path that is none of theirs."""
    for name in texts:
        parts = PurePosixPath(name).parts
        own = Path(*parts[1:]) if parts[:1] == (CORE,) else Path(*parts)
        is_one = _is_read(folder, folder / own) or _is_of_words(folder, folder / own)
        if PurePosixPath(name).is_absolute() or ".." in parts or not is_one:
            raise ValueError(f"`{name}` is not the path of a rule file")
    for name in ("", *BELOW):
        (folder / name).mkdir(parents=True, exist_ok=True)
    for name, text in texts.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text, "utf-8", newline="")


def shown_as(path: Path) -> str:
    """How people are told a rule file's name: with the folder that its rules stand in."""
    folder = path.parent.parent if path.parent.name in (*BELOW, TONGUES) else path.parent
    return str(path.relative_to(folder.parent))


def _named(folder: Path) -> dict[str, Path]:
    return {path.relative_to(folder).as_posix(): path for path in rule_files(folder)}


def _is_read(folder: Path, path: Path) -> bool:
    below = path.relative_to(folder).parts[:-1]
    return path.suffix == _SUFFIX and (not below or below in [(name,) for name in BELOW])


def _is_of_words(folder: Path, path: Path) -> bool:
    return path.suffix == _SUFFIX and path.relative_to(folder).parts[:-1] == (TONGUES,)
