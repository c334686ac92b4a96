"""`fitsvc demo --size`: a made-up catalogue of any size with planted faults, as files and as a loaded store."""

from pathlib import Path
from time import perf_counter

from fitsvc.cli.console import out, paragraph, refuse
from fitsvc.cli.options import load_rules, open_database
from fitsvc.cli.progress import Tell, progress


def make(size: int, database: str | None, into: Path | None, *, keep: bool) -> None:
    """Make the catalogue in a new folder, and load it into a database, by itself one in that folder."""
    from fitsvc.synthetic.planted import LEAST, write_planted

    if size < LEAST:
        refuse(f"`--size {size}` is too small for its faults", f"make at least {LEAST} items")
    if keep:
        refuse("`--keep` and `--size` are both given", "a made catalogue is kept anyway")
    folder = into or Path(f"fitsvc-demo-{size}")
    if folder.exists():
        refuse(f"`{folder}` exists already", "name a new folder with `--into`, or remove that one")
    if not folder.absolute().parent.is_dir():
        refuse(f"the folder of `{folder}` does not exist", "make it, or name another one")
    folder.mkdir()
    started, url = perf_counter(), database or f"sqlite:///{folder / 'demo.db'}"
    rulebook = load_rules(None)
    with progress() as tell:
        planted = write_planted(folder, rulebook, size, tell)
        _load(folder, url, tell)
    _show(folder, url, size, planted, perf_counter() - started)


def _load(folder: Path, url: str, tell: Tell) -> None:
    from fitsvc.facts import FactReader
    from fitsvc.loading.load import load_file
    from fitsvc.store.database import upgrade
    from fitsvc.synthetic.planted import RIGS, SHOP

    upgrade(url)
    reader = FactReader(load_rules(None))
    with open_database(url) as opened:
        for name in (RIGS, SHOP):
            tell(f"loading {name}", 0, 0)
            load_file(opened, reader, folder / name)


def _show(folder: Path, url: str, size: int, planted: dict[str, int], seconds: float) -> None:
    from fitsvc.synthetic.planted import CATALOGUE, PLANTED, RIG_COUNT, RIGS

    console = out()
    told = ", ".join(f"{count:,} {name.replace('_', ' ')}" for name, count in planted.items())
    paragraph(console, f"{size:,} made-up items and {RIG_COUNT} rigs, in {seconds:.0f} s.")
    paragraph(console, f"Planted: {told}. Each is listed in {folder / PLANTED}; an audit finds these and no other.")
    console.print("\nTry it:")
    for command in (
        f"fitsvc audit {folder / CATALOGUE} --rigs {folder / RIGS} -o {folder / 'audit'}",
        f"fitsvc select --rig rig_002 --database {url}",
        f"fitsvc serve --database {url}",
    ):
        console.print(f"  {command}")
