"""What an audit comes to, as one JSON document."""

import json
from pathlib import Path
from typing import Final

import numpy as np

from fitsvc.answers.doubts import told_doubt
from fitsvc.answers.wording import Wording
from fitsvc.audits.findings import Findings
from fitsvc.audits.kept import keep_facts
from fitsvc.audits.other_pairs import OtherCounts
from fitsvc.audits.others import BALL
from fitsvc.audits.page import page
from fitsvc.audits.page_claims import PageWords
from fitsvc.audits.run import Audit
from fitsvc.audits.spool import SUMMARY
from fitsvc.audits.state import AuditState
from fitsvc.document import Document
from fitsvc.files import write_text
from fitsvc.rulebook.outcomes import OUTCOMES
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.subjects import KIND
from fitsvc.tongues import t

_MOST_DISPUTED: Final = 1_000
"""Disputes, and vehicles told too little of, that are told: more than anyone settles before the next audit."""
_ROWS: Final = (
    *("rows", "items", "bad_rows", "bad_cells", "rows_of_bad_cells"),
    *("other_subjects", "passed_over", "ignored", "sheets_left", "meant", "mapped_in_vain"),
)


def run(audit: Audit) -> Document:
    """Carry an audit through, and return its summary; one that is done already is only read."""
    out, spool = audit.asked.out, audit.state.spool
    if not spool.finished:
        with spool.alone() as is_left:
            if is_left:
                with audit.state.task.spoken():
                    _carry_out(audit, out)
    found: Document = json.loads((out / SUMMARY).read_text("utf-8"))
    return found


def _carry_out(audit: Audit, out: Path) -> None:
    day = audit.state.spool.day(audit.asked.day)
    report = audit.read()
    audit.judge(report)
    findings = Findings(audit.state, report, audit.tell, audit.asked.counter)
    findings.write(audit.earlier, audit.asked.usual, audit.asked.adapters)
    keep_facts(audit.state, report.blocks)
    asked = audit.asked
    about = {"supplier": asked.supplier, "file": asked.title or asked.catalogue.name, "day": day}
    summary = {"about": about, **summarized(findings)}
    if asked.against:
        summary["changes"]["before"] = _figures(json.loads((asked.against / SUMMARY).read_text("utf-8")))
    write_text(out / "summary.html", page(summary, _words(findings)))
    # The summary comes last: a folder that has one is done.
    write_text(out / SUMMARY, json.dumps(summary, indent=2, ensure_ascii=False) + "\n")
    audit.state.spool.close()


def _figures(earlier: Document) -> Document:
    """What an earlier delivery came to, to be told beside this one."""
    return {name: earlier.get(name) for name in ("about", "rows", "claims", "others", "fixes")}


def _words(findings: Findings) -> PageWords:
    """What the page says beside the figures."""
    rulebook = findings.state.task.rulebook
    vocabulary = rulebook.vocabulary
    kind = vocabulary.facts.get(KIND)
    return PageWords(
        facts={slot: _label(vocabulary.fact_of(slot)) for slot in vocabulary.slots()},
        learnt={name: fact.how_to_measure for name, fact in vocabulary.facts.items()},
        kinds=vocabulary.words.get(kind.kind, {}) if kind else {},
        rules={rule.id: rule.title for rule in rulebook.rules} | {need.name: need.title for need in rulebook.needs},
        rigs={rig.key: rig.name for rig in findings.state.rigs},
        false=findings.fixes.false,
        fixes=findings.fixes.listed(),
    )


def _label(fact: Fact | None) -> str:
    """What a fact of an audit is called, with what it is of where that is no item."""
    if fact is None:
        return ""
    if fact.subject == "accessory":
        return fact.label
    return f"{t(fact.subject.replace('_', ' '))}: {fact.label}"


def summarized(findings: Findings) -> Document:
    """The summary of what was found."""
    state, report = findings.state, findings.report
    rulebook, claimed = state.task.rulebook, findings.claimed.tolist()
    faults = {
        "bad_rows": report.bad_rows,
        "bad_cells": report.bad_cells,
        "bad_claims": report.bad_claims - report.claims_of_ours,
        "contradicted_claims": claimed[3]
        + sum(one.claimed["fails"] for one in (*findings.others.values(), findings.balls)),
        "suspicious_columns": len(findings.columns_suspicious),
    }
    return {
        "run": state.spool.run,
        "rulebook": {"name": rulebook.name, "digest": rulebook.digest},
        "fixes": findings.fixes.count,
        "rows": {name: getattr(report, name) for name in _ROWS} | {"other_subjects": _not_judged(findings)},
        "rigs": len(state.rigs),
        "claims_of_ours": report.claims_of_ours,
        "rigs_set_aside": state.task.run.get("aside", []),
        "pairs": report.items * len(state.rigs),
        "outcomes": dict(zip(OUTCOMES, findings.by_rig.sum(axis=0).tolist(), strict=True)),
        "faults": faults,
        "claims": _claims(findings) if report.claims_told else None,
        "others": {subject: _other(one) for subject, one in findings.others.items()},
        "balls": _other(findings.balls) if findings.balls.items else None,
        "rescued": findings.rescued,
        "hitched": findings.hitched,
        "missing": _missing(findings),
        "disputed": _disputed(state),
        "untold": [
            {"vehicle": vehicle, "wanting": what, "claims": count}
            for vehicle, what, count in report.untold[:_MOST_DISPUTED]
        ],
        "fits_nothing": findings.counted["fits_nothing"],
        "rigs_without": _without(findings),
        "suspicious": findings.suspicious,
        "suspicious_columns": findings.columns_suspicious,
        "rules": _rules(findings),
        "changes": findings.changes,
    }


def faults_of(summary: Document) -> int:
    """How many faults of the supplier's there are.

    A figure that only looks wrong is none, and a whole column of them is one; neither is a claim that is unclear for
    what we have not stored of our own vehicles.
    """
    return sum(summary["faults"].values())


def _claims(findings: Findings) -> Document:
    by_rule = sorted(findings.contradicted_by.items(), key=lambda pair: (-pair[1], pair[0]))
    sums = findings.by_rig.sum(axis=0) - findings.claimed
    # A pair that only unclear lines name never counts as one that holds; where it is false or open it is told as that.
    unclear = np.array([*findings.claims_unclear[:2], 0, 0])
    return {
        "claims": findings.report.claims,
        **dict(zip(OUTCOMES, (findings.claimed - unclear).tolist(), strict=True)),
        "unclear": int(unclear.sum()),
        "lines": findings.claim_lines,
        "passed_over": findings.report.claims_passed_over,
        "meant": findings.report.claims_meant,
        "contradicted_by": [{"rule": rule, "claims": count} for rule, count in by_rule],
        "unclaimed": {"items": findings.counted["unclaimed"], "works": int(sums[0]), "conditional": int(sums[1])},
    }


def _not_judged(findings: Findings) -> dict[str, int]:
    """The rows of the subjects that are not judged, counted."""
    judged = {*findings.others, *([BALL] if findings.balls.items else [])}
    return {name: rows for name, rows in findings.report.other_subjects.items() if name not in judged}


def _other(counts: OtherCounts) -> Document:
    """What items that are no accessories come to with all rigs, and of the pairs that are claimed."""
    outcomes = {name: counts.outcomes[name] for name in OUTCOMES}
    claimed = {str(name): counts.claimed[name] - counts.unclear[name] for name in OUTCOMES}
    claimed["unclear"] = counts.unclear.total()
    return {"items": counts.items, "pairs": sum(outcomes.values()), "outcomes": outcomes, "claimed": claimed}


def _missing(findings: Findings) -> list[Document]:
    """The facts by how many pairs each alone would decide, most first."""
    facts, pairs = findings.facts, findings.waits_of_rig.sum(axis=0).tolist()
    rigs = (findings.waits_of_rig > 0).sum(axis=0).tolist()
    found = []
    for number, name in enumerate(facts.facts):
        if pairs[number]:
            of_item = number < len(facts.item_facts)
            places = int(findings.items_waiting[number]) if of_item else rigs[number]
            found.append(
                {
                    "fact": name,
                    "pairs": pairs[number],
                    "claims": int(findings.decided[number]),
                    "items" if of_item else "rigs": places,
                }
            )
    return sorted(found, key=lambda one: (-one["pairs"], one["fact"]))


def _disputed(state: AuditState) -> list[dict[str, str]]:
    """What of the rigs is disputed, doubtful or stale, in words: what rests on it is as sure as that leaves it."""
    told, wording = list[dict[str, str]](), Wording(state.kernel.engine)
    for rig in state.rigs:
        for name, doubt in sorted(rig.doubts.items())[: _MOST_DISPUTED - len(told)]:
            found = told_doubt(wording, name, doubt)
            told.append({"rig": rig.key, "fact": name, "state": doubt.state, "because": found.because})
    return told


def _without(findings: Findings) -> dict[str, int]:
    return {
        kind: int((findings.fits[:, number] == 0).sum())
        for number, kind in enumerate(findings.kinds)
        if kind and findings.of_kind[number] and (findings.fits[:, number] == 0).any()
    }


def _rules(findings: Findings) -> list[Document]:
    """The rules and needs that decide any pair, by how many each does."""
    found = []
    for name, counts in zip(findings.state.kernel.names, findings.by_rule.tolist(), strict=True):
        if any(counts):
            found.append({"rule": name} | {OUTCOMES[place]: counts[place] for place in (3, 2, 1)})
    return sorted(found, key=lambda one: (-one["fails"], -one["undetermined"], -one["conditional"], one["rule"]))
