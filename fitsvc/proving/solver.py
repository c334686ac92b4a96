"""Terms in the words of the solver, which only this module knows: z3, of the extra `prove`."""

from collections.abc import Iterable
from fractions import Fraction
from math import inf
from time import process_time
from typing import Any, Final

import z3

from fitsvc.proving.terms import SolverTerm

PATIENCE: Final = 3_600_000
"""Milliseconds after which a solver that hangs is given up, however busy the machine is."""
_STEPS: Final = 10_000_000
"""Of the solver's own steps in a second of processor time, more or less: by these an answer is limited."""


class GaveUpError(Exception):
    """The solver came to no answer, with its reason."""


class Translation:
    """Terms as the solver's own trees, each made once."""

    def __init__(self) -> None:
        self._made: dict[SolverTerm, Any] = {}

    def of(self, term: SolverTerm) -> Any:
        """The tree of a term."""
        found = self._made.get(term)
        if found is None:
            self._made[term] = found = self._tree(term)
        return found

    def _tree(self, term: SolverTerm) -> Any:
        if term.value is not None:
            return z3.BoolVal(term.value) if isinstance(term.value, bool) else z3.RealVal(term.value)
        parts = [self.of(part) for part in term.parts]
        match term.kind:
            case "truth":
                return z3.Bool(term.name)
            case "number":
                return z3.Real(term.name)
            case "not":
                return z3.Not(parts[0])
            case "and":
                return z3.And(parts)
            case "or":
                return z3.Or(parts)
            case "if":
                return z3.If(parts[0], parts[1], parts[2])
            case "at most":
                return parts[0] <= parts[1]
            case "sum":
                return parts[0] + parts[1]
            case "times":
                return parts[0] * z3.RealVal(term.factor)


class Solver:
    """One question's conditions, and the cases that meet them; none is waited for beyond the processor time `until`."""

    def __init__(self, words: Translation, until: float = inf) -> None:
        self._words, self._solver, self.until = words, z3.SolverFor("QF_LRA"), until

    def add(self, terms: Iterable[SolverTerm]) -> None:
        """Let conditions hold from now on."""
        self._solver.add(*[self._words.of(term) for term in terms])

    def model(self, terms: Iterable[SolverTerm] = ()) -> "Model | None":
        """Values with which all holds, and these conditions for once; None where there are none.

        GaveUpError when the solver comes to no answer.
        """
        only = list(terms)
        if only:
            self._solver.push()
            self.add(only)
        found = self._check()
        model = Model(self._words, self._solver.model()) if found == z3.sat else None
        if only:
            self._solver.pop()
        if found == z3.unknown:
            raise GaveUpError("no answer in time")
        return model

    def _check(self) -> Any:
        """Look for an answer while there is time; none, once it is over."""
        left = self.until - process_time()
        if left <= 0:
            return z3.unknown
        self._solver.set("timeout", PATIENCE)
        self._solver.set("rlimit", int(left * _STEPS) if left < inf else 0)
        return self._solver.check()


class Model:
    """Values of all variables with which a question's conditions hold."""

    def __init__(self, words: Translation, model: Any) -> None:
        self._words, self._model = words, model

    def so(self, term: SolverTerm) -> bool:
        """A truth's value."""
        if isinstance(term.value, bool):
            return term.value
        return bool(z3.is_true(self._model.eval(self._words.of(term), model_completion=True)))

    def number(self, term: SolverTerm) -> Fraction:
        """A number's value."""
        if isinstance(term.value, Fraction):
            return term.value
        found = self._model.eval(self._words.of(term), model_completion=True)
        return Fraction(found.numerator_as_long(), found.denominator_as_long())
