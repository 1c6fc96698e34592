"""What the registers say, each question answered once: standing, rights, reach, hours, ways."""
