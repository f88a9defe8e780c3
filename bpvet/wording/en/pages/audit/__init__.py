"""An audit's page in words: its head, what to change first, its tables and topics."""
