"""What can be proven of a rulebook: its rules as a solver's terms, claims about them, and the smallest case against."""
