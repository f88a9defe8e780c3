"""What comes before any trend, in words: what is urgent, and when to measure again."""
