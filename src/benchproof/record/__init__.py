"""The archive on disk: what was taken in, proven and shipped, and who did it."""
