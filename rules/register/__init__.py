"""The register itself: what is missing, unreadable, repeated or contradictory in it."""
