"""Who was let in: guests by name, turned out or set to look only with one tap."""
