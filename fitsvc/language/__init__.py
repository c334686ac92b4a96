"""The rule language: quantities, truth, syntax, checking and compiling."""
