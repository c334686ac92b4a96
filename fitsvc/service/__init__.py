"""The REST service (Litestar)."""
