"""What goes to the bench: workbook, cards, labels."""
