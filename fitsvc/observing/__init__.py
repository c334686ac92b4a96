"""What an observation of a record teaches, and which saved rigs it changes."""
