"""What comes with the program, all of it invented: its files, and what they hold, read."""
