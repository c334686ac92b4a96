"""The rulebook: vocabulary, tables and rules read from YAML into one checked, immutable object."""
