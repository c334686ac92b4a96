"""From findings to an answer a person can act on."""
