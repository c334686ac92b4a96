"""Evaluation of a compiled rulebook on cases."""
