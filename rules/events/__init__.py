"""What happened at the doors."""
