"""An accessory that somebody tried on a mounting, and what comes of it: told, stored and answered from."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from fitsvc.document import Document

CLEAR: Final = "clear"
"""It went, and there was room."""
RUBBED: Final = "rubbed"
"""It went, and rubs on something."""
TOUCHED: Final = "touched"
"""It did not go."""
THROUGH_THESE: Final = "touched_through_these"
"""It did not go through the very adapters that a question names."""
THROUGH_OTHERS: Final = "touched_through_others"
"""It did not go through other adapters than a question names."""
SEPARATED: Final = ", "
"""Between the SKUs of several adapters."""
RESULTS: Final = (CLEAR, RUBBED, TOUCHED)


@dataclass(frozen=True, slots=True, kw_only=True)
class ThingTried:
    """An accessory that was tried: how, what came of it, the fact that it bears on, by whom and when.

    It is `settled` where who said that it touched has tried it so again since, and it went, or that it rubbed, and it
    cleared. `through` is the SKU of an adapter that it hung on, or of several with commas between.
    """

    fact: str
    sku: str
    how: str
    result: str
    through: str = ""
    by: str = ""
    at: str = ""
    settled: bool = False

    @property
    def counts(self) -> bool:
        """Whether it touched or rubbed, and nobody who said so has said otherwise since."""
        return self.result != CLEAR and not self.settled

    @property
    def way(self) -> str:
        """How it was tried, and through what, in words."""
        return f"{self.how}, through {self.through}" if self.through else self.how

    def is_behind(self, row: Sequence[str]) -> bool:
        """Whether it hung on a row of adapters, by their SKUs: on none of which one has none, which is no SKU."""
        return all(row) and self.through == SEPARATED.join(row)

    def document(self) -> Document:
        """As a record keeps it beside the fact."""
        told = {"sku": self.sku, "how": self.how, "result": self.result, "by": self.by, "at": self.at}
        told |= {"through": self.through} if self.through else {}
        return told | ({"settled": True} if self.settled else {})
