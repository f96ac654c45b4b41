"""What bears on the hypotheses, a module for each kind: what each says of cause and offset."""
