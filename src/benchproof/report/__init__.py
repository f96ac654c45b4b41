"""What is shown or printed: figures and tables. Drawing only; values come from below."""
