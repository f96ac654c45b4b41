"""What is shown or printed: figures, tables, certificates. Drawing only; values come from below."""
