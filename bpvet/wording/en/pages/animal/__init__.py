"""An animal's page in words: its cards, questions, numbers, records, and how it was computed."""
