"""What commands tell at the terminal, a module a topic; helps stand with their commands."""
