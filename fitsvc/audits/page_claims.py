"""What an audit's page says of claims: in a sentence, as a chart and with the reasons of those that are false."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Final

from fitsvc.audits.fix_rows import FalseClaims, Fix
from fitsvc.audits.layout import Html, bars, file_link, number, table, told
from fitsvc.document import Document
from fitsvc.rulebook.outcomes import OUTCOMES
from fitsvc.tongues import later, t

_CLAIM: Final = {
    "works": later("true"),
    "conditional": later("true on a condition"),
    "undetermined": later("open: something is not known"),
    "unclear": later("unclear: which vehicle is not told"),
    "fails": later("false"),
}
_BALL: Final = {
    "works": later("go together"),
    "conditional": later("go together on a condition"),
    "undetermined": later("open: something is not known"),
    "fails": later("do not go together"),
}
_MORE: Final = {
    "unclear": (later("{count} is unclear"), later("{count} are unclear")),
    "not stored": (
        later("{count} is about vehicles of which there is no rig"),
        later("{count} are about vehicles of which there is no rig"),
    ),
    "no item": (later("{count} is about no item"), later("{count} are about no item")),
}
"""Verdicts on claims that are neither true nor false nor open, of one and of several."""
_ONE_LINE: Final = 16
"""Letters of an item's number that are kept on one line."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PageWords:
    """What the page says beside the summary's figures.

    Labels of facts, how each is learnt, words for kinds and titles of rules are those of the rulebook; `rigs` is what
    people call each rig.
    """

    facts: Mapping[str, str]
    learnt: Mapping[str, str]
    kinds: Mapping[str, str]
    rules: Mapping[str, str]
    rigs: Mapping[str, str]
    false: Sequence[FalseClaims]
    fixes: Sequence[Fix]


def in_short(summary: Document) -> list[str]:
    """What the claims come to, in a sentence or two: as they are written, and by pairs."""
    claims = all_claims(summary)
    if claims is None:
        return [t("The catalogue does not say which vehicles its items fit.")]
    lines = [_written(claims["lines"])] if claims["lines"] else []
    lines += [_claimed(claims)] if claims["claims"] else []
    return lines + _of_balls(summary.get("balls"))


def _of_balls(balls: Document | None) -> list[str]:
    """What the claims come to that a ball stands on a mount, where there are any."""
    claimed = balls["claimed"] if balls else {}
    count, false = sum(claimed.values()), _false_ones(claimed.get("fails", 0))
    words = t("Of {claims} that a ball stands on a mount, {false}.", claims=told(count, "claims"), false=false)
    return [words] if count else []


def balls_part(balls: Document | None) -> str:
    """The balls of the file with its mounts as a chart, where there are both."""
    if not balls:
        return ""
    note = t(
        "By the ball's shank and the mount's hole and platform alone, whatever is towed: the lowest rating of ball, "
        "mount, receiver and vehicle still governs what may be. Each pair: {file}.",
        file=file_link("balls.csv"),
    )
    counts = [(t(_BALL[name]), balls["outcomes"][name]) for name in _BALL]
    return bars(t("Balls with the mounts of the file"), counts, note)


def _written(lines: Mapping[str, int]) -> str:
    """What the claims come to as they are written, of which one may name several vehicles."""
    held = sum(count for verdict, count in lines.items() if verdict.startswith("holds"))
    parts = [_false_ones(lines.get("contradicted", 0)), _open_ones(lines.get("open", 0))]
    parts += [t(_MORE[one][lines[one] != 1], count=number(lines[one])) for one in _MORE if one in lines]
    claims = told(sum(lines.values()), "claims")
    return t(
        "Of {claims} as they are written {parts}, and {held}.", claims=claims, parts=", ".join(parts), held=_hold(held)
    )


def _claimed(claims: Document) -> str:
    """What the claims come to by pairs of an item and a vehicle."""
    unclear, parts = claims["unclear"], [_false_ones(claims["fails"]), _open_ones(claims["undetermined"])]
    if unclear:
        parts.append(_only_unclear(unclear))
    held = _hold(claims["works"] + claims["conditional"])
    count = told(claims["claims"], "claims")
    return t(
        "Of {claims} that one item fits one vehicle, {parts}, and {held}.",
        claims=count,
        parts=", ".join(parts),
        held=held,
    )


def _only_unclear(count: int) -> str:
    words = number(count)
    return t("{count} is only in unclear lines" if count == 1 else "{count} are only in unclear lines", count=words)


def _false_ones(count: int) -> str:
    return f"<b>{t('{count} is false' if count == 1 else '{count} are false', count=number(count))}</b>"


def _open_ones(count: int) -> str:
    return t("{count} cannot be decided yet", count=number(count))


def _hold(count: int) -> str:
    return t("{count} holds" if count == 1 else "{count} hold", count=number(count))


def all_claims(summary: Document) -> Document | None:
    """The claims about accessories, and those about trailers and adapters with them."""
    claims = summary["claims"]
    others = [one["claimed"] for one in (summary["others"] or {}).values()]
    if claims is None:
        return None
    names = (*OUTCOMES, "unclear")
    counts = {name: claims.get(name, 0) + sum(one.get(name, 0) for one in others) for name in names}
    return {**claims, **counts, "claims": claims["claims"] + sum(sum(one.values()) for one in others)}


def claims_part(summary: Document, words: PageWords) -> str:
    """The claims as a chart, and those that are false with the reasons."""
    claims = all_claims(summary)
    if claims is None:
        nothing = t("Nothing is claimed: the file has no column that says what an item fits.")
        return f"<h3>{t('Claims')}</h3><p>{nothing}</p>"
    unclaimed = claims["unclaimed"]
    note = t(
        "What the file says that an item fits, held against the rules. As the file says them, line by line: {lines}; "
        "each vehicle for which one is false or open, with the reason: {pairs}, and of trailers and adapters "
        "{others}, of balls {balls}.",
        lines=file_link("claims_checked.csv"),
        pairs=file_link("claims.csv"),
        others=file_link("others.csv"),
        balls=file_link("balls.csv"),
    )
    nobody = t(
        "Fits that nobody claims: {fit} that fit and {on} that do on a condition, of {items}: {file}, by vehicle "
        "{of_rigs}.",
        fit=told(unclaimed["works"], "pairs"),
        on=number(unclaimed["conditional"]),
        items=told(unclaimed["items"], "items"),
        file=file_link("unclaimed.csv"),
        of_rigs=file_link("unclaimed_of_rigs.csv"),
    )
    titles = (t("row"), t("item"), t("claimed for"), t("why it does not fit"))
    linked = any(one.link for one in words.false)
    return (
        bars(t("Claims of fit"), [(t(_CLAIM[name]), claims[name]) for name in _CLAIM], f"{note} {nobody}")
        + table(
            t("False claims"),
            (*titles, t("look")) if linked else titles,
            ((*_false(one), _look(one.link)) if linked else _false(one) for one in words.false),
            t("The items with most of them."),
        )
        + _by_rule(claims["contradicted_by"], words)
    )


def _by_rule(contradicted: Sequence[Document], words: PageWords) -> str:
    """The false claims of accessories by what does not hold; left out where only others are false."""
    if words.false and not contradicted:
        return ""
    return table(
        t("False claims of accessories by what does not hold"),
        (t("what does not hold"), t("claims")),
        ((words.rules.get(one["rule"], one["rule"]), one["claims"]) for one in contradicted),
    )


def item_number(sku: str) -> Html | str:
    """An item's number, on one line if it is of a usual length."""
    return Html(f"<b>{escape(sku)}</b>") if len(sku) <= _ONE_LINE else sku


def _false(one: FalseClaims) -> tuple[str, str, Html, str]:
    count = one.claims - len(one.named)
    more = "<br>" + t("and {count} more", count=number(count)) if count else ""
    named = "<br>".join(escape(name) for name in one.named)
    return str(one.row), item_number(one.sku), Html(named + more), " ".join(one.reasons)


def _look(link: str) -> Html:
    return Html(f'<a href="{escape(link)}">{t("at the counter")}</a>' if link else "")
