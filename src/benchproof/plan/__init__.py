"""What to read next: the reading that tells most per second of work; the shortest full route."""
