"""What `fitsvc audit` tells of an audit that is done, on the console."""

from pathlib import Path
from typing import Final

from fitsvc.audits.layout import told
from fitsvc.audits.page import others
from fitsvc.audits.page_claims import all_claims
from fitsvc.cli.console import out, paragraph
from fitsvc.document import Document
from fitsvc.subjects import plural

_CHANGED: Final = {
    "new": "new fits",
    "lost": "lost fits",
    "less": "claimed fits with less on them",
    "more": "claimed fits with more on them",
}
"""What is otherwise since an earlier audit; earlier versions told of no loads."""


def show(summary: Document, output: Path) -> None:
    """Tell what an audit came to, with where all of it stands."""
    console, rows = out(), summary["rows"]
    counts = (told(rows["items"], "items"), told(summary["rigs"], "rigs"), told(summary["pairs"], "pairs"))
    paragraph(console, "{} with {}: {}.".format(*counts))
    outcomes = [f"{count:,} {name}" for name, count in summary["outcomes"].items() if count]
    paragraph(console, ", ".join(outcomes), sign="·", indent=2)
    if rows["other_subjects"]:
        paragraph(console, f"Not audited: {others(rows)}", sign="·", indent=2)
    for subject, one in summary["others"].items():
        came_to = ", ".join(f"{count:,} {name}" for name, count in one["outcomes"].items() if count)
        paragraph(console, f"{told(one['items'], plural(subject))} with them: {came_to}", sign="·", indent=2)
    if balls := summary.get("balls"):
        came_to = ", ".join(f"{count:,} {name}" for name, count in balls["outcomes"].items() if count)
        paragraph(
            console, f"{told(balls['items'], 'balls')} with the catalogue's mounts: {came_to}", sign="·", indent=2
        )
    _show_not_read(rows)
    _show_meant(rows, "Rename it, or map it")
    if rows["mapped_in_vain"]:
        words = f"Columns of the mapping that the catalogue has not: {', '.join(rows['mapped_in_vain'])}"
        paragraph(console, words, sign="·", indent=2)
    faults = [told(count, name) for name, count in summary["faults"].items() if count]
    paragraph(console, f"Faults: {', '.join(faults)}" if faults else "No faults", sign="·", indent=2)
    if odd := sum(summary["suspicious"].values()):
        paragraph(console, f"{odd:,} figures look wrong", sign="·", indent=2)
    for fact, guess in summary["suspicious_columns"].items():
        paragraph(console, f"{fact} looks wrong in {guess}", sign="?", indent=2)
    _show_claims(summary)
    _show_lines(summary["claims"])
    if ours := summary.get("claims_of_ours"):
        words = f"Unclear for what we have not stored of our vehicles: {told(ours, 'claims')}, vehicles_to_tell.csv"
        paragraph(console, words, sign="?", indent=2)
    _show_rescued(summary["rescued"])
    _show_hitched(summary.get("hitched") or {})
    if nothing := summary["fits_nothing"]:
        paragraph(console, f"{nothing:,} items are not known to fit any of the rigs", sign="·", indent=2)
    if changes := summary["changes"]:
        paragraph(console, f"Since the earlier audit: {_changed(changes)}", sign="·", indent=2)
    for one in summary["disputed"][:3]:
        paragraph(console, f"{one['rig']}: {one['because']}", sign="?", indent=2)
    if (more := len(summary["disputed"]) - 3) > 0:
        paragraph(console, f"{more:,} more facts of rigs are disputed, doubtful or stale", sign="?", indent=2)
    for one in summary["missing"][:3]:
        name = "item" if "items" in one else "rig"
        where = f"1 {name}" if one[f"{name}s"] == 1 else f"{one[f'{name}s']:,} {name}s"
        words = f"{one['fact']} on {where} alone would decide {told(one['pairs'], 'pairs')}"
        paragraph(console, words, sign="·", indent=2)
    paragraph(console, f"All of it: {output / 'summary.html'}")


def _show_not_read(rows: Document) -> None:
    """The columns that are not read, and those of which that is so because the mapping says so."""
    if rows["passed_over"]:
        paragraph(out(), f"Columns not read: {', '.join(rows['passed_over'])}", sign="·", indent=2)
    for name, count in rows.get("sheets_left", {}).items():
        paragraph(out(), f"Not read: sheet `{name}`, {told(count, 'rows')}", sign="?", indent=2)
    if rows.get("ignored"):
        words = f"The mapping says to pass over {', '.join(rows['ignored'])}: where one tells a fact, say there which"
        paragraph(out(), words, sign="?", indent=2)


def _show_claims(summary: Document) -> None:
    """What comes of the claims: of one item and one vehicle, and of a ball and a mount."""
    if (claims := all_claims(summary)) and claims["claims"]:
        held, false = claims["works"] + claims["conditional"], claims["fails"]
        words = f"Of {claims['claims']:,} claims that one item fits one vehicle {held:,} hold, {false:,} are false, "
        paragraph(out(), f"{words}{claims['undetermined']:,} cannot be decided", sign="·", indent=2)
    balls = summary.get("balls")
    if balls and (claimed := balls["claimed"]):
        false = claimed.get("fails", 0)
        are = "is" if false == 1 else "are"
        words = f"Of {told(sum(claimed.values()), 'claims')} that a ball stands on a mount {false:,} {are} false"
        paragraph(out(), words, sign="·", indent=2)


def _show_rescued(rescued: Document) -> None:
    """How many false claims an adapter would rescue, where one would."""
    count, untried = rescued["claims"], rescued["untried"]
    if count or untried:
        more = f"; {told(untried, 'claims')} were not tried" if untried else ""
        words = f"An adapter would rescue {told(count, 'contradicted_claims')}{more}: rescued.csv"
        paragraph(out(), words, sign="·", indent=2)


def _show_hitched(hitched: Document) -> None:
    """For how many claims of trailers the catalogue has a mount and ball, and for how many it has none."""
    count, none, untried = (hitched.get(name, 0) for name in ("claims", "none", "untried"))
    if count or none or untried:
        more = f"; {told(untried, 'claims')} were not tried" if untried else ""
        words = f"Mount and ball of the catalogue tow the trailer of {told(count, 'claims')}, none do of {none:,}{more}"
        paragraph(out(), f"{words}: hitched.csv", sign="·", indent=2)


def _show_lines(claims: Document | None) -> None:
    """What the claims come to as their lines have them, where some are not plain."""
    lines = claims["lines"] if claims else {}
    if lines.keys() & {"unclear", "not stored", "no item"}:
        listed = ", ".join(f"{count:,} {verdict}" for verdict, count in lines.items())
        paragraph(out(), f"Claims as they are written: {listed}", sign="·", indent=2)
    if claims and (titles := claims["passed_over"]):
        paragraph(out(), f"Columns of claims not read: {', '.join(titles)}", sign="·", indent=2)
        _show_meant(claims, "Rename it")


def _show_meant(told: Document, help: str) -> None:
    """What columns that were not read were probably to be; earlier versions told none of claims."""
    for title, name in told.get("meant", {}).items():
        paragraph(out(), f"`{title}` is not read: did you mean `{name}`? {help}", sign="✗", indent=2)


def _changed(changes: Document) -> str:
    """What changed since an earlier audit, in words: fits by their causes, then items and rigs."""
    fits = [
        f"{count:,} {said} by {cause}"
        for word, said in _CHANGED.items()
        for cause, count in changes.get(word, {}).items()
    ]
    names = ("new_items", "gone_items", "new_rigs", "gone_rigs")
    others = [f"{changes[name]:,} {name.replace('_', ' ')}" for name in names if changes[name]]
    return ", ".join(fits + others) or "the same fits"
