"""Formulas of the functions a rule may call: for one case, and beside it for columns."""
