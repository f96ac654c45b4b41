"""What a program is shown: every JSON object as a struct, each field with its meaning.

Commands print these, the API answers with them, and docs/json.md is made from them (`document`).
"""
