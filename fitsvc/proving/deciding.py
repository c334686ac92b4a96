"""Claims looked into by several processes, each a copy of this one, and told in the order in which they stand."""

import signal
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context
from time import perf_counter
from typing import Final

from fitsvc.proving.book import Part
from fitsvc.proving.claims import NOT_REACHED, Claim, Prover, Ruling, nothing_asked

_given: list[tuple[Prover, Sequence[Part]]] = []
"""In a process that helps: what it is a copy for."""
_OVER: Final = "claims about {about}"


def decided(prover: Prover, parts: Sequence[Part], processes: int) -> Iterator[list[Ruling]]:
    """What became of the claims of each part, in order; BrokenProcessPool where a process was ended from elsewhere."""
    if min(processes, len(parts)) <= 1:
        yield from (_rulings(prover, part) for part in parts)
        return
    copies = get_context("fork")  # terms and claims are no data that could be sent
    with ProcessPoolExecutor(processes, copies, _begin, (prover, parts)) as pool:
        yield from pool.map(_decide, range(len(parts)))


def _begin(prover: Prover, parts: Sequence[Part]) -> None:
    signal.signal(signal.SIGINT, signal.SIG_DFL)  # who ends the whole ends this process too
    _given[:] = [(prover, parts)]


def _decide(place: int) -> list[Ruling]:
    prover, parts = _given[0]
    return [replace(ruling, claim=ruling.claim.told) for ruling in _rulings(prover, parts[place])]


def _rulings(prover: Prover, part: Part) -> list[Ruling]:
    if perf_counter() <= prover.until:
        return [prover.decide(claim) for claim in part.claims()]
    says = _OVER.format(about=part.about)
    claim = Claim(what=part.what, about=part.about, says=says, fault="refuted", asked=nothing_asked)
    return [Ruling(claim=claim, state="undecided", reason=NOT_REACHED)]
