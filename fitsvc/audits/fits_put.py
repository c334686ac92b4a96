"""What an audit comes to for a shop, put straight into a store, where the shop's own queries find it."""

import hashlib
import json
from collections.abc import Iterator
from pathlib import Path

from sqlmodel import Session

from fitsvc.audits.changes import read_earlier
from fitsvc.audits.fits import fits_of, titles_of
from fitsvc.audits.spool import SUMMARY
from fitsvc.document import Document
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.rulebook.rules import Rulebook
from fitsvc.store.fits import FitRow, FitsOrigin, FitsPut, put_fits


def put_fits_of(session: Session, out: Path, rulebook: Rulebook) -> FitsPut:
    """Put what the audit in the folder `out` comes to in the place of what its supplier's audit before did.

    ProblemsFound where the folder holds no such audit, or it does not say whose catalogue it is of.
    """
    read_earlier(out)
    summary: Document = json.loads((out / SUMMARY).read_text("utf-8"))
    about = summary["about"]
    if not about["supplier"]:
        help = "audit it anew with `--supplier NAME`: what is kept of a supplier gives way to its next audit alone"
        raise ProblemsFound([Problem("the audit does not say whose catalogue it is of", help, file=str(out))])
    of_what = json.dumps([summary["run"], about["day"]], sort_keys=True).encode()
    delivery = FitsOrigin(
        supplier=about["supplier"],
        day=about["day"],
        rulebook=summary["rulebook"]["digest"],
        digest=hashlib.sha256(of_what).hexdigest(),
    )
    return put_fits(session, delivery, _rows(out, rulebook))


def _rows(out: Path, rulebook: Rulebook) -> Iterator[list[FitRow]]:
    for table in fits_of(out, titles_of(rulebook)):
        columns = (table.column(name).to_pylist() for name in FitRow._fields)
        yield [FitRow(*row) for row in zip(*columns, strict=True)]
