"""Stored records and observations: SQLModel tables and the few named queries."""
