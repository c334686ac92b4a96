"""What an audit comes to for a shop, put straight into a store, where the shop's own queries find it."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from sqlmodel import Session

from fitsvc.audits.changes import read_earlier
from fitsvc.audits.fits import fits_of, loads_of, titles_of
from fitsvc.audits.item_files import digest_of
from fitsvc.audits.spool import SUMMARY
from fitsvc.document import Document
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.rulebook.rules import Rulebook
from fitsvc.store.fits import FitRow, FitsOrigin, FitsPut, put_fits

_SORT: Final = "sha256:"


def put_fits_of(session: Session, out: Path, rulebook: Rulebook) -> FitsPut:
    """Put what the audit in the folder `out` comes to in the place of what its supplier's audit before did.

    ProblemsFound where the folder holds no such audit, it was by another rulebook, or it does not say whose catalogue
    it is of; Conflict where what is kept is of a later audit, or of another of the same day that this one was not
    compared with.
    """
    read_earlier(out)
    summary: Document = json.loads((out / SUMMARY).read_text("utf-8"))
    about = summary["about"]
    if not about["supplier"]:
        help = "audit it anew with `--supplier NAME`: what is kept of a supplier gives way to its next audit alone"
        raise ProblemsFound([Problem("the audit does not say whose catalogue it is of", help, file=str(out))])
    delivery = FitsOrigin(
        supplier=about["supplier"],
        day=about["day"],
        rulebook=summary["rulebook"]["digest"],
        digest=digest_of(out / SUMMARY).removeprefix(_SORT),
        follows=summary["run"]["against"].removeprefix(_SORT),
    )
    return put_fits(session, delivery, _rows(out, rulebook))


def _rows(out: Path, rulebook: Rulebook) -> Iterator[list[FitRow]]:
    for table in fits_of(out, titles_of(rulebook), loads_of(out, rulebook)):
        columns = (table.column(name).to_pylist() for name in FitRow._fields)
        yield [FitRow(*row) for row in zip(*columns, strict=True)]
