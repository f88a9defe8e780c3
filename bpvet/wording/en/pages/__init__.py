"""Words of reports and letters as pages: heads, cards, tables and captions, a topic a file."""
