"""Cards and fobs: what they are bound to, what they read, and whether they still should."""
