"""The steps from one shape of the archive to the next; each stays as it was written."""
