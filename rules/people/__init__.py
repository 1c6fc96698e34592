"""People: those who left, those who have not come, those without what they need."""
