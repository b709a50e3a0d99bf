"""What a person gets to see: tables, pages and pictures."""
