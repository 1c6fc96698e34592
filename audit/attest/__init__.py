"""What makes a pack believable: the site's key, its manifest, signatures, time stamps."""
