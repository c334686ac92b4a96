"""Facts that are not to be kept: taken out of what is recorded, by every name that they go by.

An answer tells facts in its words, and may take them from the store. So of an answer that may rest on a masked fact
only the outcome and what each rule gives is kept; it cannot be given again.
"""

from collections.abc import Iterable
from typing import Any, Final

import msgspec

from fitsvc.language.problems import Problem, ProblemsFound, nearest
from fitsvc.rulebook.vocabulary import Vocabulary

MASKED: Final = "(masked)"
_KEPT: Final = ("outcome", "rulebook")
_STACK: Final = {"adapters": "adapter"}
"""What a list of a question's parts is of."""
_FACTS: Final = "facts"
_VEHICLE: Final = "vehicle"


class Masks:
    """The facts that are masked; none where nothing is."""

    def __init__(self, names: Iterable[str], vocabulary: Vocabulary) -> None:
        """ProblemsFound for a name that is no fact's: what is misspelt would be kept."""
        found = set[str]()
        for name in names:
            fact = vocabulary.facts.get(name)
            if fact is None:
                near = nearest(name, vocabulary.facts)
                help = f"did you mean `{near}`?" if near else "`fitsvc rules facts` lists them"
                raise ProblemsFound([Problem(f"there is no fact `{name}` to be left out of what is recorded", help)])
            found |= {name, *(f"{fact.subject}.{was}" for was in fact.formerly)}
        self._names = frozenset(found)

    def __bool__(self) -> bool:
        return bool(self._names)

    def masked(self, question: str, answer: bytes) -> tuple[str, bytes, bool]:
        """A question and its answer as they may be kept, and whether anything was taken out of them."""
        if not self._names:
            return question, answer, False
        asked = msgspec.json.decode(question)
        if not self._mask(asked, ""):
            return question, answer, False
        whole = msgspec.json.decode(answer)
        told = {name: whole[name] for name in _KEPT} | {"findings": _codes(whole)}
        return msgspec.json.encode(asked).decode(), msgspec.json.encode(told), True

    def _mask(self, value: Any, subject: str) -> bool:
        """Take out the values of masked facts; whether there are any, or what is stored is named and may have some.

        A vehicle is looked up by what is told of it, so it may be a stored one without an id.
        """
        found = False
        if isinstance(value, list):
            for one in value:
                found |= self._mask(one, subject)
        for key, below in value.items() if isinstance(value, dict) else ():
            if key == _FACTS and isinstance(below, dict):
                for short in below:
                    if f"{subject}.{short}" in self._names:
                        below[short], found = MASKED, True
            elif isinstance(below, dict | list):
                found |= self._mask(below, _STACK.get(key) or str(key)) | (key == _VEHICLE)
            else:
                found = True  # the id of a record: its facts are the store's
        return found


def _codes(answer: Any) -> list[dict[str, str]]:
    """What each rule gives."""
    return [{"rule": one["rule"], "result": one["result"]} for one in answer["findings"]]
