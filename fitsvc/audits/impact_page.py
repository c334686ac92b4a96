"""What a change of rules brings, as a page for whoever signs for it and as a comment beside a change under review."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from typing import Final
from urllib.parse import urlencode

from fitsvc.audits.impact import Group, Impact, ImpactCase
from fitsvc.audits.layout import Html, bars, number, table, told, whole
from fitsvc.rulebook.rules import Need, Rule, Rulebook

MOST: Final = 25
"""Rows of a comment's table: what shows comments takes some 65,000 characters (common practice, no source)."""
_COLUMNS: Final = ("rule", "kind", "from", "to", "answers", "sold", "such as")
_TITLES: Final = ("More say yes", "Fewer say yes")


@dataclass(frozen=True, slots=True, kw_only=True)
class ImpactTold:
    """An impact with all that is told beside it.

    `on` is what was asked of both, `counter` the address of a counter over the same store, or empty. `unsigned` says
    what nobody has signed for, and is empty where nothing wants it.
    """

    impact: Impact
    old: Rulebook
    new: Rulebook
    on: str
    counter: str = ""
    unsigned: str = ""

    @property
    def groups(self) -> tuple[tuple[str, Sequence[Group]], ...]:
        """What says yes to more, and what to less."""
        return tuple(zip(_TITLES, (self.impact.loosened(), self.impact.tightened()), strict=True))

    @property
    def is_sold(self) -> bool:
        """Whether it is known what is sold."""
        return any(group.sold for _, groups in self.groups for group in groups)

    def title(self, rule: str) -> str:
        """What a rule is called, where either has it."""
        for book in (self.new, self.old):
            owners: list[Rule | Need] = [*book.rules, *book.needs]
            for one in owners:
                if one.id == rule:
                    return one.title
        return rule

    def link(self, one: ImpactCase) -> str:
        """Where a case opens at the counter; empty where none is named, or the case is no stored pair."""
        if not self.counter or not one.rig:
            return ""
        fields = {"mounting" if one.mounted else "rig": one.rig, "accessory": one.sku}
        return f"{self.counter.rstrip('/')}/answer?{urlencode(fields)}"

    def summary(self) -> str:
        """How many were asked, and what became of them."""
        impact = self.impact
        same = impact.asked - impact.changed - impact.reasons
        aside = f"; {number(len(impact.aside))} left aside, of which nothing is known" if impact.aside else ""
        return (
            f"{number(impact.asked)} asked of both: {number(impact.changed)} have another outcome, "
            f"{number(impact.reasons)} the same for other reasons, {number(same)} are as they were{aside}."
        )


def impact_page(found: ImpactTold) -> str:
    """The page: it loads nothing and runs nothing, and its chart is drawn in it."""
    title = "What a change of rules brings"
    parts = [_short(found)]
    for name, groups in found.groups:
        rows = [_row(found, group) for group in groups]
        chart = [(f"{found.title(group.rule)}, {group.kind}", group.count) for group in groups[:MOST]]
        parts += [
            f"<h2>{name}</h2>",
            bars("By rule and kind", chart, _order(found)) if chart else "<p>None.</p>",
            table("With cases to ask", _columns(found), rows) if rows else "",
        ]
    parts += [_aside(found), _ask(found)]
    lines = [("Asked", found.on), ("Old rules", _named(found.old)), ("New rules", _named(found.new))]
    head = "".join(f"<dt>{name}</dt><dd>{escape(text)}</dd>" for name, text in lines)
    return whole(title, f"<h1>{title}</h1><dl>{head}</dl>", parts)


def _short(found: ImpactTold) -> str:
    more, fewer = (sum(group.count for group in groups) for _, groups in found.groups)
    counted = f"By rule and kind, {told(more, 'answers')} nearer to yes, {number(fewer)} further from it"
    lines = [escape(found.summary()), f"{counted}; each counts under every rule that bears on it."]
    if found.unsigned:
        lines.append(f"<b>{escape(found.unsigned)}</b>")
    return f"<h2>In short</h2><ul>{''.join(f'<li>{line}</li>' for line in lines)}</ul>"


def _order(found: ImpactTold) -> str:
    return "What sells most stands first." if found.is_sold else "Answers that are another; the most stand first."


def _columns(found: ImpactTold) -> tuple[str, ...]:
    return tuple(one for one in _COLUMNS if one != "sold" or found.is_sold)


def _row(found: ImpactTold, group: Group) -> Sequence[object]:
    cases = Html(", ".join(_case(found, one) for one in group.cases))
    sold = [int(group.sold)] if found.is_sold else []
    return (found.title(group.rule), group.kind, group.old, group.new, group.count, *sold, cases)


def _case(found: ImpactTold, one: ImpactCase) -> str:
    href = found.link(one)
    return f'<a href="{escape(href)}">{escape(one.name)}</a>' if href else f"<code>{escape(one.name)}</code>"


def _aside(found: ImpactTold) -> str:
    rows = [(one,) for one in found.impact.aside]
    note = "One of the two rulebooks could not be asked of these, so nothing is known of what becomes of them."
    return f"<h2>Left aside</h2>{table('Not asked', ('what, and why',), rows, note)}" if rows else ""


def _ask(found: ImpactTold) -> str:
    return (
        '<h2>Ask one under either</h2><p class="note">'
        "<code>fitsvc answer --rig ID --accessory SKU --database URL --rules OLD</code>, then with the new rules; "
        'a mounting by a file with <code>{"rig": {"mounting": {"id": ID}}, "accessory": {"sku": SKU}}</code>; '
        "a recorded question by <code>fitsvc answer FILE --rules OLD</code>. More that say yes want a person who looks "
        "at the rigs named here, and signs for it in <code>signed.yaml</code>.</p>"
    )


def _named(book: Rulebook) -> str:
    return f"{book.name}, {book.digest}"


def impact_comment(found: ImpactTold) -> str:
    """The same as a comment (Markdown, with tables as GitHub reads them)."""
    lines = ["### What this change of rules brings", "", _plain(found.summary()), ""]
    if found.unsigned:
        lines += [f"**{_plain(found.unsigned)}**", ""]
    for name, groups in found.groups:
        if not groups:
            continue
        lines += [f"#### {name}", "", *_markdown(found, groups), ""]
    if found.impact.aside:
        lines += [f"Left aside, such as: {_plain('; '.join(found.impact.aside[:3]))}", ""]
    lines.append(f"Old `{found.old.digest}`, new `{found.new.digest}`, asked on {_plain(found.on)}.")
    return "\n".join(lines) + "\n"


def _markdown(found: ImpactTold, groups: Sequence[Group]) -> Iterable[str]:
    columns = _columns(found)
    yield f"| {' | '.join(columns)} |"
    yield f"|{'|'.join(' ---: ' if one in ('answers', 'sold') else ' --- ' for one in columns)}|"
    for group in groups[:MOST]:
        sold = [number(int(group.sold))] if found.is_sold else []
        cases = ", ".join(_linked(found, one) for one in group.cases)
        cells = [f"{found.title(group.rule)} (`{group.rule}`)", group.kind, group.old, group.new, number(group.count)]
        yield f"| {' | '.join([*map(_plain, cells), *sold, cases])} |"
    if len(groups) > MOST:
        yield ""
        yield f"and {number(len(groups) - MOST)} more"


def _linked(found: ImpactTold, one: ImpactCase) -> str:
    href = found.link(one)
    return f"[{_plain(one.name)}](<{href}>)" if href else _plain(one.name)


def _plain(text: str) -> str:
    """A text in which nothing is taken for a sign of a table, a link or HTML, but for what stands in backticks."""
    parts = text.split("`")
    for place in range(0, len(parts), 2):
        for sign in "\\|*_[]<>":
            parts[place] = parts[place].replace(sign, f"\\{sign}")
    for place in range(1, len(parts), 2):
        parts[place] = parts[place].replace("|", "\\|")
    return "`".join(parts).replace("\n", " ")
