"""What in rules that can be read is no fault and hardly ever meant, each where it stands."""

from pathlib import Path

from fitsvc.engine.checking import past_adapters
from fitsvc.language.problems import Problem
from fitsvc.rulebook.dating import HOLDS_UNTIL
from fitsvc.rulebook.drafting import Drafting
from fitsvc.rulebook.folder import texts_of
from fitsvc.rulebook.habits import departures
from fitsvc.rulebook.overlay import asleep_in
from fitsvc.rulebook.rules import Rulebook
from fitsvc.rulebook.translated import words_for_nothing, words_left_out


def cautions_of(rulebook: Rulebook, folder: Path) -> list[Problem]:
    """Each departure from how the rules of a folder are written, see `rulebook.habits`; what holds no more; values that
    words in other languages lose, and such words as are never told.
    """
    found = departures(rulebook, [why for _, why in past_adapters(rulebook)])
    entries = Drafting(folder) if found else None  # the files are read once more for the places alone
    problems = []
    for one in found:
        owner, _, _ = one.owner.partition("/")
        entry = entries and entries.entry(owner)
        mark = entry.node.mark if entry else None
        file, line = (mark.file, mark.line) if mark else ("", 0)
        problems.append(Problem(f"`{one.owner}` {one.message}", one.help, file=file, line=line))
    return problems + _ended(folder) + words_left_out(folder) + words_for_nothing(rulebook, folder)


def _ended(folder: Path) -> list[Problem]:
    """What holds no more, and nothing in its place, as by a slip of the year: no answer knows of it."""
    if not any(HOLDS_UNTIL in text for text in texts_of(folder).values()):
        return []
    help = f"mend its `{HOLDS_UNTIL}`, the last day on which it holds, or take it out"
    found = [one for one in asleep_in(folder) if one.ended and not one.replaced]
    return [Problem(one.message, help, file=one.node.mark.file, line=one.node.mark.line) for one in found]
