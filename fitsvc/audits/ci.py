"""An audit's findings for machines that watch over builds: JUnit's XML, by condition, and SARIF, by place in the file.

SARIF is the OASIS standard of 2020, version 2.1.0; the sections named here are its own. JUnit's XML has no standard: it
is written as the Ant task writes it (from memory), which all readers take.
"""

import json
from collections.abc import Mapping, Sequence
from itertools import islice
from pathlib import Path
from typing import Any, Final
from urllib.parse import quote
from xml.sax.saxutils import escape, quoteattr

from fitsvc import __version__
from fitsvc.audits.fix_rows import FIX_LIST, SORTS
from fitsvc.audits.sheets import read_safe
from fitsvc.audits.thresholds import Threshold, read_threshold
from fitsvc.document import Document, Json
from fitsvc.files import write_text

STRICT: Final = ("bad_rows > 0", "bad_cells > 0", "bad_claims > 0", "contradicted > 0", "suspicious_columns > 0")
"""What faults are, as conditions: where none is given, these are told."""
_MOST: Final = 5_000
"""Results of one run: more than watchers show, and few enough for them to take (common practice, no source)."""
_SHOWN: Final = 20
_WORST: Final = frozenset({"bad_row", "bad_claim", "false_claim"})
"""What is an error; all else is a warning."""
_NO_XML: Final = {number: None for number in range(32) if chr(number) not in "\t\n\r"}


def write_junit(path: Path, summary: Document, out: Path, crossed: Mapping[str, str]) -> None:
    """Write each condition as a test case, which fails where the condition is crossed; `crossed` says why by its text.

    Beside the reason stands the first of what is to be mended.
    """
    about = summary["about"]
    name = f"Catalogue audit: {about['supplier'] or about['file']}"
    failed = sum(map(bool, crossed.values()))
    first = "\n".join(_line(row) for row in islice(read_safe(out / f"{FIX_LIST}.csv"), _SHOWN))
    cases = "".join(_case(text, why, first) for text, why in crossed.items())
    counts = f'tests="{len(crossed)}" failures="{failed}" errors="0"'
    write_text(
        path,
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f"<testsuites {counts}><testsuite name={_attribute(name)} {counts}>{cases}</testsuite></testsuites>\n",
    )


def _case(text: str, why: str, first: str) -> str:
    begin = f'<testcase classname="fitsvc.audit" name={_attribute(text)}'
    told = escape(first.translate(_NO_XML))
    return f"{begin}><failure message={_attribute(why)}>{told}</failure></testcase>" if why else f"{begin}/>"


def _attribute(text: str) -> str:
    return quoteattr(text.translate(_NO_XML))


def _line(row: Mapping[str, str]) -> str:
    stands = f" `{row['stands']}`" if row["stands"] else ""
    place = f"{row['file']}, row {row['row']}, {row['sku'] or '-'}, {row['column']}"
    return f"{place}{stands}: {row['wrong']} ({row['allowed']})"


def write_sarif(path: Path, summary: Document, out: Path, catalogue: Path, claims: Path | None) -> None:
    """Write what is to be mended as results at their lines of the two files, the one that decides most first."""
    results = [
        _result(row, claims if claims and row["file"] != summary["about"]["file"] else catalogue)
        for _, row in zip(range(_MOST), read_safe(out / f"{FIX_LIST}.csv"), strict=False)
    ]
    ids = list(SORTS)
    driver: Json = {
        "name": "fitsvc",
        "semanticVersion": __version__,
        "rules": [{"id": one, "shortDescription": {"text": f"{SORTS[one]}."}} for one in ids],
    }
    run: Json = {
        "tool": {"driver": driver},
        "automationDetails": {"id": f"catalogue audit/{summary['about']['supplier'] or summary['about']['file']}/"},
        "results": [{**one, "ruleIndex": ids.index(one["ruleId"])} for one in results],
        "properties": {"rulebook": summary["rulebook"]["digest"], "fixes": summary["fixes"]},
    }
    log: Json = {"$schema": _SCHEMA, "version": "2.1.0", "runs": [run]}
    write_text(path, json.dumps(log, indent=1, ensure_ascii=False) + "\n")


_SCHEMA: Final = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"


def _result(row: Mapping[str, str], file: Path) -> dict[str, Any]:
    """One result (3.27): its rule, how bad it is, the message and the line."""
    rule = row["sort"]
    item = f"{row['sku']}, " if row["sku"] else ""
    stands = f" `{row['stands']}`" if row["stands"] else ""
    uri = file.as_uri() if file.is_absolute() else quote(file.as_posix())
    place: dict[str, Any] = {"artifactLocation": {"uri": uri}}
    if int(row["row"]):
        place["region"] = {"startLine": int(row["row"])}
    return {
        "ruleId": rule,
        "level": "error" if rule in _WORST else "warning",
        "message": {"text": f"{item}{row['column']}{stands}: {row['wrong']}. {row['allowed']}"},
        "locations": [{"physicalLocation": place}],
        # What tells a result from the last run's where lines have moved (3.27.17).
        "partialFingerprints": {"cell/v1": "/".join((row["sku"], row["column"], row["stands"], row["wrong"][:200]))},
        "properties": {"pairs": int(row["pairs"]), "claims": int(row["claims"])},
    }


def conditions_of(texts: Sequence[str]) -> list[Threshold]:
    """The conditions that are told: those given, or that there are no faults."""
    return [read_threshold(text) for text in texts or STRICT]
