"""A result, told once: facts, tables, messages and plots that terminal, page, print and JSON only render."""
