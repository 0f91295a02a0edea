"""What is painted: models of it without Qt, and the widgets that paint them."""
