"""What was seen, by whom and when: records, exchange, the example survey."""
