"""What is on the shelf: the store's records as questions see them, kept in step with its changes."""
