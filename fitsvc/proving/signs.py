"""Which expressions can never be below zero: declared types say it of facts, of what is made of them the tree does."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from fitsvc.language import typed
from fitsvc.language.typed import AnyTyped
from fitsvc.language.types import NumberType
from fitsvc.rulebook.rules import Opening


@dataclass(slots=True)
class Signs:
    """Looks through derived values, and through the working opening as the bare receiver and each adapter have it."""

    derived: Mapping[str, AnyTyped]
    opening: Mapping[str, Opening]
    _found: dict[AnyTyped, bool] = field(default_factory=dict)

    def signed(self, node: AnyTyped) -> bool:
        """Whether a number may be below zero."""
        found = self._found.get(node)
        if found is None:
            if isinstance(node, typed.Read) and node.name in self.opening:
                self._found[node] = False  # by induction: the opening before it is not below zero either
            self._found[node] = found = self._signed(node)
        return found

    def _signed(self, node: AnyTyped) -> bool:
        match node:
            case typed.Constant(value=(low, _)):
                return low < 0.0
            case typed.Read(name=name) if name in self.derived:
                return self.signed(self.derived[name])
            case typed.Read(name=name) if name in self.opening:
                return self.signed(self.opening[name].bare) or self.signed(self.opening[name].each)
            case typed.Arithmetic(operator="-") | typed.Negative():
                return True
            case typed.Arithmetic(left=left, right=right):
                return self.signed(left) or self.signed(right)
            case typed.Conditional(then=then, otherwise=otherwise):
                return self.signed(then) or self.signed(otherwise)
            case typed.Apply(function=row, arguments=arguments) if not (row.never_negative or row.may_be_negative):
                return (all if row.name == "max" else any)(map(self.signed, arguments))
            case typed.LookupMember(values=values) | typed.LookupBand(values=values):
                return any(isinstance(value, tuple) and value[0] < 0.0 for value in values)
        return isinstance(node.type, NumberType) and node.type.negative
