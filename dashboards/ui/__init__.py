"""What several pages share: forms, fields, figures, tables, plots."""
