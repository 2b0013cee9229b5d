"""What is measured, and what it says: the sheet, the answers, safety."""
