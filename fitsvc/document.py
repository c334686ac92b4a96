"""What JSON says, as Python has it: a fact as it is told, the body of a request, a question, a summary that is kept."""

from typing import Any, TypeAlias

Json: TypeAlias = Any
"""Any JSON value: None, a truth, a number, a text, a list or a `Document`.

It comes from outside, so nothing is known of it before it is read: the type checker lets it be, and whoever reads it
asks what it is and says what else was expected, with the place. An `Any` elsewhere is not JSON.
"""
Document: TypeAlias = dict[str, Json]
"""A JSON object."""
