"""What the controllers hold, against what the register says."""
