"""What is wrong with a part, how sure, and which way it is out of line: exact Bayes on a grid."""
