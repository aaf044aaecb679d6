"""What every reader, judge and screen shares: words, values and the answer types. No logic beyond their own consistency."""
