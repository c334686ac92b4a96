"""Loading records from files into the store."""
