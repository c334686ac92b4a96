"""What an audit's page says of claims: in a sentence, as a chart and with the reasons of those that are false."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Final

from fitsvc.audits.fix_rows import FalseClaims, Fix
from fitsvc.audits.layout import Html, bars, file_link, number, table, told
from fitsvc.document import Document
from fitsvc.rulebook.outcomes import OUTCOMES

_CLAIM: Final = {
    "works": "true",
    "conditional": "true on a condition",
    "undetermined": "open: something is not known",
    "unclear": "unclear: which vehicle is not told",
    "fails": "false",
}
_BALL: Final = {
    "works": "go together",
    "conditional": "go together on a condition",
    "undetermined": "open: something is not known",
    "fails": "do not go together",
}
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
        return ["The catalogue does not say which vehicles its items fit."]
    lines = [_written(claims["lines"])] if claims["lines"] else []
    lines += [_claimed(claims)] if claims["claims"] else []
    return lines + _of_balls(summary.get("balls"))


def _of_balls(balls: Document | None) -> list[str]:
    """What the claims come to that a ball stands on a mount, where there are any."""
    claimed = balls["claimed"] if balls else {}
    count, false = sum(claimed.values()), claimed.get("fails", 0)
    words = f"Of {told(count, 'claims')} that a ball stands on a mount, <b>{number(false)} {_are(false)} false</b>."
    return [words] if count else []


def balls_part(balls: Document | None) -> str:
    """The balls of the file with its mounts as a chart, where there are both."""
    if not balls:
        return ""
    note = (
        "By the ball's shank and the mount's hole and platform alone, whatever is towed: the lowest rating of ball, "
        f"mount, receiver and vehicle still governs what may be. Each pair: {file_link('balls.csv')}."
    )
    return bars("Balls with the mounts of the file", [(_BALL[name], balls["outcomes"][name]) for name in _BALL], note)


def _written(lines: Mapping[str, int]) -> str:
    """What the claims come to as they are written, of which one may name several vehicles."""
    held = sum(count for verdict, count in lines.items() if verdict.startswith("holds"))
    false, open_ = lines.get("contradicted", 0), lines.get("open", 0)
    more = {"unclear": "unclear", "not stored": "about vehicles that are not stored", "no item": "about no item"}
    told_ = "".join(f"{number(lines[one])} {_are(lines[one])} {more[one]}, " for one in more if one in lines)
    words = f"Of {told(sum(lines.values()), 'claims')} as they are written <b>{number(false)} {_are(false)} false</b>"
    return f"{words}, {number(open_)} cannot be decided yet, {told_}and {_hold(held)}."


def _claimed(claims: Document) -> str:
    """What the claims come to by pairs of an item and a vehicle."""
    false, unclear = claims["fails"], claims["unclear"]
    words = f"Of {told(claims['claims'], 'claims')} that one item fits one vehicle, <b>{number(false)} {_are(false)} "
    words += f"false</b>, {number(claims['undetermined'])} cannot be decided yet, "
    words += f"{number(unclear)} {_are(unclear)} only in unclear lines, " if unclear else ""
    return f"{words}and {_hold(claims['works'] + claims['conditional'])}."


def _hold(count: int) -> str:
    return f"{number(count)} {'holds' if count == 1 else 'hold'}"


def _are(count: int) -> str:
    return "is" if count == 1 else "are"


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
        return "<h3>Claims</h3><p>Nothing is claimed: the file has no column that says what an item fits.</p>"
    unclaimed = claims["unclaimed"]
    note = (
        f"What the file says that an item fits, held against the rules. As the file says them, line by line: "
        f"{file_link('claims_checked.csv')}; each vehicle for which one is false or open, with the reason: "
        f"{file_link('claims.csv')}, and of trailers and adapters {file_link('others.csv')}, of balls "
        f"{file_link('balls.csv')}. Fits that nobody claims: "
        f"{told(unclaimed['works'], 'pairs')} that fit and {number(unclaimed['conditional'])} that do on a condition, "
        f"of {told(unclaimed['items'], 'items')}: {file_link('unclaimed.csv')}, by vehicle "
        f"{file_link('unclaimed_of_rigs.csv')}."
    )
    titles = ("row", "item", "claimed for", "why it does not fit")
    linked = any(one.link for one in words.false)
    return (
        bars("Claims of fit", [(_CLAIM[name], claims[name]) for name in _CLAIM], note)
        + table(
            "False claims",
            (*titles, "look") if linked else titles,
            ((*_false(one), _look(one.link)) if linked else _false(one) for one in words.false),
            "The items with most of them.",
        )
        + table(
            "False claims by what does not hold",
            ("what does not hold", "claims"),
            ((words.rules.get(one["rule"], one["rule"]), one["claims"]) for one in claims["contradicted_by"]),
        )
    )


def item_number(sku: str) -> Html | str:
    """An item's number, on one line if it is of a usual length."""
    return Html(f"<b>{escape(sku)}</b>") if len(sku) <= _ONE_LINE else sku


def _false(one: FalseClaims) -> tuple[str, str, Html, str]:
    more = f"<br>and {number(one.claims - len(one.named))} more" if one.claims > len(one.named) else ""
    named = "<br>".join(escape(name) for name in one.named)
    return str(one.row), item_number(one.sku), Html(named + more), " ".join(one.reasons)


def _look(link: str) -> Html:
    return Html(f'<a href="{escape(link)}">at the counter</a>' if link else "")
