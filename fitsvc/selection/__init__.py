"""Which accessories of the store work on one rig: an index judged whole, and pages of it."""
